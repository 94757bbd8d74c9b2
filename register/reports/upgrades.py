"""What an upgrade of the register will do, and what it did."""

from rich.console import Group, RenderableType

from register.domain.upgrades import Upgrade
from register.reports.wording import line


def announced(planned: Upgrade) -> tuple[str, ...]:
    """What will happen, sentence by sentence, for the question before it."""
    return (
        f"The register in {planned.register} goes from schema {planned.from_schema} to {planned.to_schema}:",
        *(f"  - {change}" for change in planned.changes),
        "A backup is made first; all of it is done or nothing.",
        "Older versions of pitwright will not open it afterwards.",
    )


def upgraded(done: Upgrade) -> RenderableType:
    """What was done."""
    if not done.changes:
        return line(f"The register in {done.register} is up to date (schema {done.to_schema}); nothing was changed.")
    said = f"The register in {done.register} went from schema {done.from_schema} to {done.to_schema}."
    return Group(line(said), line(f"The backup made before is {done.backup}."))

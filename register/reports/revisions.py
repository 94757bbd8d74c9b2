"""Revisions as they are logged, released and identified."""

from rich.console import Group, RenderableType

from register.domain.estimates import BoughtEstimate
from register.domain.part_views import PreparedRevision
from register.domain.revisions import Revision, RevisionState
from register.domain.shop import Shop
from register.reports.estimates import estimate_report, figures
from register.reports.wording import line


def prepared(made: PreparedRevision, shop: Shop, written: bool) -> RenderableType:
    """A revision with its estimate, set against the one before."""
    revision = made.revision
    word = "Logged" if written else "Not written"
    shown: list[RenderableType] = [line(f"{word}: {revision.part} revision {revision.letter}, a draft", "bold")]
    shown.append(estimate_report(made.estimate, shop.currency))
    if revision.keep_pose:
        shown.append(line(f"It is printed in the pose of its file: {revision.keep_pose}"))
    if made.previous is not None and made.previous_estimate is not None:
        shown.append(line(f"{made.previous.letter} before it: {figures(made.previous_estimate, shop.currency)}"))
        shown += [line(text) for text in _differences(made)]
    shown += [line(f"! {doubt}", "bold") for doubt in made.doubts]
    if written:
        shown.append(line(f"Release it with `pitwright revision release {revision.part} {revision.letter}`."))
    return Group(*shown)


def released(revision: Revision) -> RenderableType:
    """A revision just released."""
    return line(f"{revision.part} revision {revision.letter} is released by {revision.released_by}.")


def identified(found: tuple[Revision, ...], name: str) -> RenderableType:
    """Which revision a file is, with a word against making an old one."""
    if not found:
        return line(f"{name} is no file of the register.")
    return Group(*(line(_identity(name, each)) for each in found))


def _identity(name: str, revision: Revision) -> str:
    old = revision.state in (RevisionState.SUPERSEDED, RevisionState.WITHDRAWN)
    warning = ": do not make it" if old else ""
    return f"{name} is {revision.part} revision {revision.letter}, {revision.state.value}{warning}."


def _differences(made: PreparedRevision) -> list[str]:
    now, before = made.estimate, made.previous_estimate
    if isinstance(now, BoughtEstimate) or before is None or isinstance(before, BoughtEstimate):
        return []
    said: list[str] = []
    for word, new, old in (("mass", now.mass_g, before.mass_g), ("time", now.duration_s, before.duration_s)):
        if old > 0:
            said.append(f"{word} {100 * (new - old) / old:+.1f} %")
    return [", ".join(said)] if said else []

"""Checking a register: every file, every count, every link."""

from register.domain.history import Checked
from register.errors import StoreBroken
from register.opening import Register
from register.store import health, parts, pieces, stock


def check_register(register: Register) -> Checked:
    """Read everything.

    Raises
    ------
    StoreBroken
        If anything is wrong; the message names the first and counts the rest.
    """
    with register.store.reading() as view:
        wrong = list(health.faults(view))
        hashes = parts.file_hashes(view)
        short = pieces.overdrawn(view)
        lot = stock.overdrawn(view)
        rows = health.row_count(view)
    if short is not None:
        wrong.append(f"{short.place} holds {short.quantity} {short.part}")
    if lot is not None:
        wrong.append(f"lot {lot} holds less than nothing")
    for sha256 in hashes:
        try:
            register.files.read(sha256)
        except StoreBroken as broken:
            wrong.append(broken.what.rstrip("."))
    if wrong:
        more = f", and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        raise StoreBroken(f"The register is not sound: {wrong[0]}{more}.", "Copy the folder away before anything else.")
    return Checked(rows, len(hashes))

"""Many parts at once, by few statements: what lists and warnings are worked out from."""

from collections.abc import Collection, Mapping
from operator import itemgetter

import sqlalchemy as sa

from register.domain.parts import Part
from register.domain.revisions import Revision
from register.store.parts import PART_FIELDS, REVISION_FIELDS, revision_of
from register.store.plain import among, rows, table_of
from register.store.tables.parts import PartRow, RevisionRow
from register.store.transaction import Reading

_PART, _REVISION = table_of(PartRow), table_of(RevisionRow)


def wear_parts(reading: Reading, numbers: Collection[str] | None = None) -> dict[str, Part]:
    """Wear parts by row key, in the order of their numbers; only those of `numbers` if given."""
    wanted = sa.select(_PART.c.number_folded, _PART.c.key, *PART_FIELDS).where(_PART.c.wear == sa.literal_column("1"))
    if numbers is not None:
        wanted = wanted.where(among(_PART.c.number_folded, {number.casefold() for number in numbers}))
    # Sorted here: asked to sort, SQLite would walk all parts by number and fetch each from where it lies.
    return {key: Part(*fields) for _, key, *fields in sorted(rows(reading, wanted), key=itemgetter(0))}


def histories_of(reading: Reading, wanted: Mapping[str, Part]) -> dict[str, tuple[Revision, ...]]:
    """Every revision of some parts, oldest first, by the part's row key."""
    found: dict[str, list[Revision]] = {key: [] for key in wanted}
    statement = sa.select(_REVISION.c.part_key, *REVISION_FIELDS).where(among(_REVISION.c.part_key, wanted))
    for key, *columns in rows(reading, statement.order_by(_REVISION.c.part_key, _REVISION.c.place)):
        found[key].append(revision_of(wanted[key].number, columns))
    return {key: tuple(history) for key, history in found.items()}


def newest(reading: Reading, numbers: Collection[str] | None = None) -> dict[str, Revision]:
    """The newest revision of each part, by part number; only of `numbers` if given. Parts without one are left out."""
    later = _REVISION.alias("later")
    last = sa.select(sa.func.max(later.c.place)).where(later.c.part_key == _PART.c.key).scalar_subquery()
    wanted = (
        sa.select(_PART.c.number, *REVISION_FIELDS)
        .select_from(_PART.join(_REVISION))
        .where(_REVISION.c.place == last.correlate(_PART))
    )
    if numbers is not None:
        wanted = wanted.where(among(_PART.c.number_folded, {number.casefold() for number in numbers}))
    return {number: revision_of(number, columns) for number, *columns in rows(reading, wanted)}

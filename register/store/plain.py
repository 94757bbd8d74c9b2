"""Reading columns instead of entities: many rows for a third of the time, and no mapper to set up first."""

import json
from collections.abc import Collection, Sequence
from typing import Any

import sqlalchemy as sa

from register.store.row import Row, metadata
from register.store.transaction import Reading


def table_of(model: type[Row]) -> sa.Table:
    """The table that a model describes, for statements that want its columns alone."""
    return metadata.tables[str(model.__tablename__)]


def rows(reading: Reading, statement: sa.Select[Any], **given: str) -> Sequence[Any]:
    """The rows of a statement over plain columns.

    Parameters
    ----------
    statement
        Made with `sqlalchemy.select` from columns of `table_of`.
    given
        Values of its named parameters.

    Notes
    -----
    What was written through the session but not yet sent is sent first, so that it is seen.
    """
    reading.session.flush()
    return reading.session.connection().execute(statement, given).all()


def among(column: sa.ColumnElement[str], wanted: Collection[str]) -> sa.ColumnElement[bool]:
    """Whether `column` is one of `wanted`, however many: they go over as one JSON text, not as a variable each."""
    texts = sa.func.json_each(json.dumps(sorted(wanted))).table_valued("value")
    return column.in_(sa.select(texts.c.value))

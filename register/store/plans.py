"""The plan last taken."""

from typing import Any

from sqlmodel import select

from register.store.tables.work import PlanRow
from register.store.transaction import Reading, Writing


def kept_plan(reading: Reading) -> tuple[int, Any] | None:
    """The operation that the plan last taken stood on, and its body; None if there is none."""
    row = reading.session.exec(select(PlanRow)).first()
    return None if row is None else (row.stood_on, row.body)


def keep_plan(writing: Writing, stood_on: int, body: Any) -> None:
    """Keep a plan in place of the one before."""
    row = writing.session.exec(select(PlanRow)).first() or PlanRow(
        key=writing.key(), stood_on=stood_on, made_at=writing.at, body=body
    )
    row.stood_on, row.made_at, row.body = stood_on, writing.at, body
    writing.session.add(row)

"""Wear parts are found by an index of their own, so that a large register with few of them answers at once."""

from pathlib import Path
from typing import Any

from sqlalchemy import event

from register.store.part_lists import wear_parts
from tests.shops import PART, wear_register


def test_wear_parts_are_read_by_their_own_index(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    asked: list[tuple[str, Any]] = []
    event.listen(register.store.engine, "before_cursor_execute", lambda *said: asked.append((said[2], said[3])))
    with register.store.reading() as view:
        assert [part.number for part in wear_parts(view).values()] == [PART]
        (statement, bound) = next(each for each in reversed(asked) if "FROM part" in each[0])
        plan = view.session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", bound).all()
    assert any("ix_part_wear" in str(row[3]) for row in plan), plan

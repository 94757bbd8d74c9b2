"""Kills in the middle of writes, the short form of tests/benchmarks/kills.py."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.benchmarks.kills import ROUND, Watched, assert_history_tells_every_row, kill_often

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills processes as Unix does")


@pytest.mark.parametrize(("writers", "kills"), [(1, 20), (3, 6)])
def test_killed_writers_lose_nothing_that_they_acknowledged_and_leave_nothing_half(
    tmp_path: Path, writers: int, kills: int
) -> None:
    found = kill_often(tmp_path, kills, writers, seed=4, check_every=10)
    assert found.in_the_middle >= kills
    assert found.acknowledged > 0
    assert (found.lost, found.halves) == (0, 0)


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    watched = Watched(tmp_path / "register")
    watched.learn()
    return watched


def planted(watched: Watched, statement: str) -> None:
    with closing(watched.connect()) as connection:
        connection.executescript(statement)


def test_look_finds_an_acknowledged_write_that_is_not_there(watched: Watched) -> None:
    assert watched.look({"Writer 1": ["add spares", "done", "queue"]}) == (0, 1, 0)


def test_look_finds_an_operation_of_which_a_row_is_missing(watched: Watched) -> None:
    # As if the row of the replacement had not reached the disk, nor its change.
    seq = watched.seen + 1
    planted(
        watched,
        f"INSERT INTO operation VALUES ({seq}, 'k', 'A', '2031-03-04T12:00:00Z', 'Writer 1', 'replace claws', NULL);"
        f"INSERT INTO change (operation, row_table, row_key, old, new) VALUES ({seq}, 'piece_move', 'k', NULL, '{{}}')",
    )
    assert watched.look({"Writer 1": ["replace", "done"]}) == (0, 0, 1)


def test_history_that_does_not_tell_of_a_row_is_found(watched: Watched) -> None:
    with closing(watched.connect()) as connection:
        assert_history_tells_every_row(connection)
        connection.execute("DELETE FROM change WHERE row_table = 'piece_move' AND seq IN (SELECT max(seq) FROM change)")
        connection.execute("DELETE FROM change WHERE seq = (SELECT max(seq) FROM change)")
        with pytest.raises(AssertionError):
            assert_history_tells_every_row(connection)
        connection.rollback()


def test_each_act_of_a_round_changes_rows(watched: Watched) -> None:
    assert set(watched.shapes) == set(ROUND)
    assert all(shape for shapes in watched.shapes.values() for shape in shapes)
    with closing(sqlite3.connect(watched.path)) as connection:
        assert connection.execute("SELECT count(DISTINCT row_table) FROM change").fetchone()[0] >= 10

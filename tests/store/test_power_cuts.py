"""Simulated power cuts, the short form of tests/benchmarks/power_cuts.py."""

import random
from pathlib import Path

import pytest

from register.store.transaction import CONNECTION_SETTINGS
from tests.benchmarks.power_cuts import KeptFile, Step, cut_often, disk_before, left_over

NOISE = {"lost", "half", "broken"}


def test_power_cut_loses_nothing_acknowledged_and_leaves_nothing_half(tmp_path: Path) -> None:
    found = cut_often(tmp_path, 100, seed=5, recordings=1)
    assert found.settings == "; ".join(CONNECTION_SETTINGS)
    assert (found.lost, found.half, found.broken) == (0, 0, 0)
    assert found.during_a_write > 70
    assert found.rolled_back > 20
    assert found.cut_again_in_recovery > 5


@pytest.mark.parametrize(
    ("settings", "faults"),
    [
        # SQLite's own default keeps the journal's name unsynced: the last commit may come undone, never half.
        # Source: SQLite's documentation of PRAGMA synchronous, EXTRA (from memory).
        (("PRAGMA journal_mode = DELETE", "PRAGMA synchronous = FULL"), {"lost"}),
        (("PRAGMA journal_mode = TRUNCATE", "PRAGMA synchronous = OFF"), {"broken"}),
    ],
    ids=["delete-full", "truncate-off"],
)
def test_simulated_disk_loses_what_weaker_settings_leave_to_chance(
    tmp_path: Path, settings: tuple[str, ...], faults: set[str]
) -> None:
    found = cut_often(tmp_path, 60, seed=6, settings=settings, recordings=1)
    assert {name for name in NOISE if getattr(found, name)} >= faults
    if faults == {"lost"}:
        assert (found.half, found.broken) == (0, 0)


def test_what_was_synced_is_there_and_what_was_not_may_be_lost() -> None:
    files = {"register.db": KeptFile(bytearray(b"a" * 1024), named=True)}
    steps = [
        Step("write", "register.db", 0, b"b" * 512),
        Step("sync", "register.db"),
        Step("write", "register.db", 512, b"c" * 1024),
        Step("acknowledged", ""),
    ]
    assert disk_before(files, steps) == 1
    found = {left_over(files["register.db"], random.Random(seed), 0.5) for seed in range(200)}
    assert all(each is not None and each[:512] == b"b" * 512 for each in found)
    # The two pieces of the second write come and go each by itself.
    for kept in (b"a" * 512, b"a" * 512 + b"c" * 512, b"c" * 512, b"c" * 1024):
        assert b"b" * 512 + kept in found
    assert left_over(files["register.db"], random.Random(1), 1.0) == b"b" * 512 + b"c" * 1024


def test_file_that_was_never_synced_may_have_no_name() -> None:
    files: dict[str, KeptFile] = {}
    disk_before(files, [Step("write", "register.db-journal", 0, b"j" * 512)])
    assert left_over(files["register.db-journal"], random.Random(1), 0.0) is None
    assert left_over(files["register.db-journal"], random.Random(1), 1.0) == b"j" * 512

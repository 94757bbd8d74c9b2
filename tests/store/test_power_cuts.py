"""Simulated power cuts, the short form of tests/benchmarks/power_cuts.py."""

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import apsw
import pytest

from register.store.header import DATABASE, broken
from register.store.transaction import CONNECTION_SETTINGS
from tests.benchmarks.power_cuts import Recording, Statement, cut_often, holds, recorded
from tests.benchmarks.simulated_disk import JOURNAL, KeptFile, NotingVfs, Step, disk_before, left_over

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


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    return recorded(tmp_path_factory.mktemp("recorded"), CONNECTION_SETTINGS, seed=7)


def written(folder: Path, statements: list[Statement], vfs: NotingVfs, name: str) -> apsw.Error | None:
    """Run an operation's statements until the disk refuses; what SQLite says then."""
    connection = apsw.Connection(str(folder / DATABASE), flags=apsw.SQLITE_OPEN_READWRITE, vfs=name)
    try:
        for setting in CONNECTION_SETTINGS:
            connection.execute(setting).fetchall()
        for statement, given in statements:
            connection.execute(statement, given).fetchall()
    except apsw.Error as error:
        # As the store does; SQLite may have rolled back by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK").fetchall()
        return error
    finally:
        connection.close()
        vfs.unregister()
    return None


@pytest.mark.parametrize("error", [apsw.FullError, apsw.ReadOnlyError], ids=lambda each: each.__name__)
def test_disk_that_refuses_any_one_step_of_a_write_leaves_all_of_it_or_nothing(
    tmp_path: Path, recording: Recording, error: type[apsw.Error]
) -> None:
    # The operation that replaces a claw: three tables and their history. The first leaves a journal that others reuse.
    place = 2
    before = tmp_path / "before"
    before.mkdir()
    (before / DATABASE).write_bytes(recording.database)
    for number, statements in enumerate(recording.operations[:place]):
        assert written(before, statements, NotingVfs(f"before-{number}", []), f"before-{number}") is None
    steps: list[Step] = []
    told = []
    for fails_at in range(-1, 200):
        folder = tmp_path / str(fails_at)
        folder.mkdir()
        for name in (DATABASE, JOURNAL):
            (folder / name).write_bytes((before / name).read_bytes())
        name = f"refusing-{fails_at}"
        noted: list[Step] = []
        refused = written(folder, recording.operations[place], NotingVfs(name, noted, fails_at, error), name)
        with closing(sqlite3.connect(folder / DATABASE)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            now = holds(connection)
        # The very last step syncs the journal after its truncation, which is what keeps the operation.
        last = fails_at >= 0 and fails_at == len(steps) - 1
        assert now == recording.held[place + (refused is None or last)], f"step {fails_at}: {refused!r}"
        told.append(refused is not None)
        steps = steps or noted
        if fails_at == len(steps):
            break
    # Every step was refused once; without a refusal, before the first and after the last, the operation is there.
    assert told == [False, *[True] * len(steps), False]
    assert [(step.what, step.file) for step in steps[-2:]] == [("truncate", JOURNAL), ("sync", JOURNAL)]
    assert {(step.what, step.file) for step in steps} >= {("write", DATABASE), ("sync", DATABASE), ("write", JOURNAL)}


def test_fault_of_the_last_sync_is_not_said_to_have_changed_nothing() -> None:
    fault = sqlite3.OperationalError("disk I/O error")
    for name, nothing in (("SQLITE_IOERR_FSYNC", False), ("SQLITE_IOERR_WRITE", True), ("SQLITE_FULL", True)):
        fault.sqlite_errorname = name
        assert ("nothing was changed" in broken("register.db", fault).cure) is nothing

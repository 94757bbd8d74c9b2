"""The one opener and old registers: nothing is made or upgraded unasked, and where a register lies is said."""

import asyncio
import errno
import os
import re
import shutil
import sqlite3
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path, PurePosixPath

import pytest

from register.actions import parts
from register.actions.spares import list_spares, take_spare
from register.cli.here import Here
from register.errors import NeedsUpgrade, NotAllowed, StoreBroken
from register.opening import make_register, open_register, planned_upgrade, upgrade_register
from register.store.header import SCHEMA
from register.store.migrate import make_database
from register.store.place import kind_by_mounts, mac_kind, network_kind, place_warning
from tests.cli.command_line import PROGRAM, ROOT, command, environment, program, two_sentences
from tests.cli.test_every_command import USES
from tests.shops import (
    CLAW_A,
    NOON,
    PART,
    STUDENT,
    SetClock,
    again,
    logged,
    printed,
    row_counts,
    set_up_register,
    wear_register,
)
from tests.store.forked import in_child
from tests.store.old_registers import SCHEMAS, columns_in, literal_rows, old_register, schema_of, with_added
from tests.tui.screen_text import until, until_shown
from tui.app import Screens
from tui.widgets.lines import MessageLine


@pytest.fixture(autouse=True)
def own_places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME", "HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.setenv("PITWRIGHT_WHO", STUDENT)
    monkeypatch.delenv("PITWRIGHT_REGISTER", raising=False)


@pytest.fixture(params=SCHEMAS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return old_register(tmp_path / "register", request.param)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# --- nothing is upgraded unasked ---------------------------------------------------------------------------------


def test_old_register_is_not_upgraded_by_opening_it_and_the_cure_is_named(old: Path) -> None:
    before = contents(old)
    with pytest.raises(NeedsUpgrade, match=rf"earlier pitwright \(schema \d, this one needs {SCHEMA}\)") as refused:
        open_register(old, STUDENT)
    assert refused.value.exit_code == 5
    assert f"`pitwright upgrade --register {old}`" in refused.value.cure
    assert contents(old) == before


def test_named_cure_upgrades_a_folder_with_a_blank_in_its_name(tmp_path: Path) -> None:
    folder = old_register(tmp_path / "two words", SCHEMAS[0])
    with pytest.raises(NeedsUpgrade) as refused:
        open_register(folder, STUDENT)
    words = re.search(r"`pitwright (.+)`", refused.value.cure)
    assert words is not None
    shell = subprocess.run(
        f"{sys.executable} -m register.cli {words[1]} --yes", shell=True, cwd=ROOT, check=False, capture_output=True
    )
    assert shell.returncode == 0, shell.stderr
    assert schema_of(folder / "register.db") == SCHEMA


def test_every_command_on_an_old_register_says_so_and_changes_nothing(old: Path) -> None:
    before = contents(old)
    for words in (("part", "list"), ("spare", "take", PART), ("backup",), ("undo",), ("history", "--json")):
        said = command(*words, register=old)
        assert (said.code, said.out) == (5, "")
        assert two_sentences(said.err)
        assert "pitwright upgrade" in said.err
    checked = command("check", register=old)
    assert checked.code == 5 and "pitwright upgrade" in checked.out
    assert contents(old) == before


def test_upgrade_says_what_will_happen_and_does_nothing_where_there_is_no_terminal_to_ask_at(old: Path) -> None:
    before = contents(old)
    said = program("upgrade", "--register", str(old))
    assert (said.code, said.out) == (3, "")
    assert f"from schema {planned_upgrade(old).from_schema} to {SCHEMA}" in said.err
    for change in planned_upgrade(old).changes:
        assert change in said.err
    assert "backup is made first" in said.err
    assert said.err.splitlines()[-1] == "Say yes beforehand with `pitwright upgrade --yes`."
    assert contents(old) == before


def test_upgrade_with_yes_is_done_after_a_backup_and_named_in_json(old: Path) -> None:
    rows, columns = literal_rows(old / "register.db"), columns_in(old / "register.db")
    first = schema_of(old / "register.db")
    said = command("upgrade", "--yes", "--json", register=old)
    assert (said.json["from_schema"], said.json["to_schema"], said.json["register"]) == (first, SCHEMA, str(old))
    assert len(said.json["changes"]) == SCHEMA - first
    assert Path(said.json["backup"]).exists()
    assert literal_rows(old / "register.db", columns) == with_added(rows, first)
    assert command("part", "list", register=old).code == 0
    again = command("upgrade", register=old)
    assert (again.code, again.err) == (0, "")
    assert "up to date" in again.out


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a pseudo-terminal")
@pytest.mark.parametrize(("typed", "code", "schema"), [("n", 3, 1), ("", 3, 1), ("y", 0, SCHEMA), ("Yes", 0, SCHEMA)])
def test_person_at_a_terminal_is_asked_and_only_a_yes_counts(
    tmp_path: Path, typed: str, code: int, schema: int
) -> None:
    old = old_register(tmp_path / "register", 1)
    master, terminal = os.openpty()
    asked = subprocess.Popen(
        [*PROGRAM, "upgrade", "--register", str(old)],
        cwd=ROOT,
        env=environment(),
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
    )
    os.close(terminal)
    said = read_until(master, "[y/N] ")
    assert "from schema 1" in said
    assert schema_of(old / "register.db") == 1
    os.write(master, f"{typed}\n".encode())
    said = read_until(master, None)
    assert asked.wait(30) == code, said
    os.close(master)
    assert ("was not upgraded" in said) == (code == 3)
    assert schema_of(old / "register.db") == schema
    assert bool(list((old / "backups").iterdir())) == (code == 0)


def read_until(master: int, mark: str | None) -> str:
    """What a pseudo-terminal shows until `mark`, or until its program ends."""
    said = ""
    while mark is None or mark not in said:
        try:
            more = os.read(master, 4096)
        except OSError as error:
            # So Linux says that the other end is closed.
            assert error.errno == errno.EIO
            more = b""
        if not more:
            assert mark is None, said
            return said
        said += more.decode()
    return said


@pytest.mark.parametrize("damage", ["newer", "foreign", "broken", "missing"])
def test_upgrade_of_what_is_no_old_register_is_refused_and_changes_nothing(tmp_path: Path, damage: str) -> None:
    folder = old_register(tmp_path / "register", 1)
    database = folder / "register.db"
    if damage == "newer":
        with closing(sqlite3.connect(database)) as connection:
            connection.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    elif damage == "foreign":
        database.unlink()
        with closing(sqlite3.connect(database)) as connection:
            connection.execute("CREATE TABLE recipe (name TEXT)")
    elif damage == "broken":
        database.write_bytes(database.read_bytes()[:10_000] + b"\xa5" * 4096 + database.read_bytes()[14_096:])
    else:
        database.unlink()
    before = contents(folder)
    said = command("upgrade", "--yes", register=folder)
    assert said.code == (4 if damage == "missing" else 5)
    assert two_sentences(said.err)
    assert contents(folder) == before


# --- nothing is made by a mistyped path --------------------------------------------------------------------------

# These make a register where there is none, and an estimate needs none. The import of a whole archive makes one in the
# new folder that its second word names; of a table it needs a register, as below.
COMMANDS = sorted(set(USES) - {("init",), ("demo",), ("estimate",)})


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_no_command_but_init_and_demo_makes_a_register_where_there_is_none(
    path: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "FILE").write_bytes(CLAW_A)
    (tmp_path / "SHOP").write_bytes((ROOT / "demo_parts" / "shop.toml").read_bytes())
    (tmp_path / "parts.csv").write_text("number,name,wear\nP-1,Part,no\n")
    words = [str(tmp_path / word) if word in ("FILE", "SHOP", "PLATE") else word for word in USES[path]]
    words += ["--process", "printed"] if path == ("revision", "add") else []
    words = {("export",): [str(tmp_path / "all.zip")], ("import",): [str(tmp_path / "parts.csv")]}.get(path, words)
    before = contents(tmp_path)
    said = command(*path, *words, register=tmp_path / "regsiter")
    assert said.code == 4, said
    assert two_sentences(said.err)
    assert not (tmp_path / "regsiter").exists()
    assert contents(tmp_path) == before


def test_of_two_programs_that_make_a_register_at_once_the_later_does_not_overwrite_it(tmp_path: Path) -> None:
    made = wear_register(tmp_path / "register")
    before = contents(made.folder)
    # Past the first look at the folder, as a program is that looked before the other was done.
    with pytest.raises(NotAllowed, match="Another program made a register"):
        make_database(made.folder, "A", NOON, None)
    assert contents(made.folder) == before


# --- two terminals and two versions ------------------------------------------------------------------------------


def test_terminal_that_was_open_while_another_upgraded_neither_reads_nor_writes(tmp_path: Path) -> None:
    open_here = wear_register(tmp_path / "register")
    before = row_counts(open_here)
    # What next year's version leaves in the header.
    with closing(sqlite3.connect(open_here.folder / "register.db")) as other:
        other.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    for act in (lambda: take_spare(open_here, PART), lambda: list_spares(open_here)):
        with pytest.raises(StoreBroken, match="was upgraded meanwhile") as refused:
            act()
        assert "newer pitwright; nothing was changed" in refused.value.cure
    assert row_counts(open_here) == before


def test_terminal_that_was_open_while_an_old_copy_was_put_back_neither_reads_nor_writes(tmp_path: Path) -> None:
    open_here = wear_register(tmp_path / "register")
    list_spares(open_here)
    copy = old_register(tmp_path / "old", 1)
    # As a restore does it: over the open file, so that this terminal sees it.
    database = open_here.folder / "register.db"
    with closing(sqlite3.connect(copy / "register.db")) as source, closing(sqlite3.connect(database)) as sink:
        source.backup(sink)
    rows = literal_rows(copy / "register.db")
    for act in (lambda: take_spare(open_here, PART), lambda: list_spares(open_here)):
        with pytest.raises(StoreBroken, match="put back to schema 1 meanwhile") as refused:
            act()
        assert "pitwright upgrade" in refused.value.cure
    assert literal_rows(open_here.folder / "register.db") == rows


def test_terminal_goes_on_after_the_upgrade_that_it_waited_for(old: Path) -> None:
    upgrade_register(old)
    one, two = (open_register(old, STUDENT, SetClock()) for _ in range(2))
    parts.add_part(one, "P-1", "Part", False)
    assert parts.show_part(two, "P-1").part.name == "Part"


# --- where a register lies -----------------------------------------------------------------------------------------

# Format: proc_pid_mountinfo(5): ids, device, root, mount point, options, optional fields, -, type, source, options.
MOUNTS = r"""
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:40 / /mnt/team rw,relatime shared:9 - nfs4 server:/team rw,vers=4.2
31 22 0:41 / /mnt/pit\040box rw,relatime - cifs //server/pit rw
32 30 0:42 / /mnt/team/local rw - tmpfs tmpfs rw
33 22 0:43 / /home/wren/remote rw - fuse.sshfs wren@server: rw
34 22 8:2 / /mnt/teams rw - xfs /dev/sda2 rw
35 22 0:44 / /mnt/c rw - 9p drive rw
36 22 8:3 / /mnt/over rw - ext4 /dev/sda3 rw
37 36 0:45 / /mnt/over rw - smb3 //server/over rw
38 22 0:46 / /mnt/later rw - fuse.unheardof thing rw
39 22 0:47 /root /data rw - btrfs /dev/sdb rw
"""


@pytest.mark.parametrize(
    ("folder", "device", "kind"),
    [
        ("/home/wren/register", "8:1", None),
        ("/mnt/team/register", "0:40", "nfs4"),
        ("/mnt/team", "0:40", "nfs4"),
        ("/mnt/teams/register", "8:2", None),
        ("/mnt/pit box/register", "0:41", "cifs"),
        ("/mnt/team/local/register", "0:42", None),
        ("/home/wren/remote/a/b", "0:43", "sshfs"),
        ("/mnt/c/register", "0:44", "9p"),
        # The one mounted later hides the one below it; the device tells which of them the folder is on.
        ("/mnt/over/register", "0:45", "smb3"),
        ("/mnt/over/register", "9:9", "smb3"),
        ("/mnt/over/register", "8:3", None),
        # Nobody knows whether an unheard-of file system is a share: nothing is said.
        ("/mnt/later/register", "0:46", None),
        # A subvolume shows another device than its mount.
        ("/data/register", "0:99", None),
    ],
)
def test_network_share_is_told_by_the_mounts_of_the_system(folder: str, device: str, kind: str | None) -> None:
    assert kind_by_mounts(MOUNTS, PurePosixPath(folder), device) == kind


@pytest.mark.parametrize(
    "mounts", ["", "\n\n", "nonsense", "1 2 3", "22 1 8:1 / / rw - ", "- - - - - - - - - -", "\0" * 50]
)
def test_mounts_that_cannot_be_read_say_nothing(mounts: str) -> None:
    assert kind_by_mounts(mounts, PurePosixPath("/home"), "8:1") is None


def test_network_share_of_a_mac_is_told_by_the_missing_mark_of_a_local_disk() -> None:
    # struct statfs with 64-bit inodes, from memory: 4 + 4 + 5 × 8 + 8 + 4 + 4 bytes stand before f_flags, then
    # f_fssubtype, then 16 bytes of type name; MNT_LOCAL is 0x1000.
    def kept(flags: int, kind: bytes) -> bytes:
        return struct.pack("=Ii5Q8sIIII16s", 4096, 0, 1, 1, 1, 1, 1, b"", 501, 0, flags, 0, kind) + bytes(2080)

    assert mac_kind(kept(0x1000 | 0x200000, b"apfs")) is None
    assert mac_kind(kept(0x200000, b"smbfs")) == "smbfs"


@pytest.mark.skipif(not Path("/proc/self/mountinfo").exists(), reason="needs Linux")
def test_folder_of_the_kernels_own_is_no_network_share_and_a_missing_one_is_unknown() -> None:
    assert network_kind(Path("/proc/self")) is None
    assert place_warning(Path("/proc/self")) == ""
    assert network_kind(Path("/proc/no such folder")) is None


def test_opened_register_carries_the_sentence_that_the_place_calls_for(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    assert register.place_warning == place_warning(register.folder)
    assert again(register).place_warning == register.place_warning


def test_place_that_is_not_safe_is_said_once_beside_the_result(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shared = replace(wear_register(tmp_path / "register"), place_warning="The register lies on a network share (nfs4).")
    assert Here().seen(shared) == shared
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "The register lies on a network share (nfs4).\n")


def test_place_that_is_not_safe_is_said_on_the_screens(tmp_path: Path) -> None:
    shared = replace(wear_register(tmp_path / "register"), place_warning="The register lies on a network share (nfs4).")

    async def look() -> None:
        screens = Screens(shared)
        async with screens.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: bool(screens.screen.query(MessageLine)))
            await until_shown(pilot, "The register lies on a network share (nfs4).")

    asyncio.run(look())


# --- the umask of whoever works ------------------------------------------------------------------------------------


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix permissions")
@pytest.mark.parametrize("umask", [0o027, 0o002, 0o077])
def test_folders_and_files_are_made_as_the_umask_says(umask: int) -> None:
    with tempfile.TemporaryDirectory() as passing:
        modes = in_child(lambda: made_modes(Path(passing), umask))
    assert modes
    for path, (is_folder, mode) in modes.items():
        assert mode == (0o777 if is_folder else 0o666) & ~umask, f"{path}: {mode:o}"


def made_modes(passing: Path, umask: int) -> dict[str, tuple[bool, int]]:
    """Make and use a register under `umask`; every file and folder with its permissions."""
    os.umask(umask)
    register = set_up_register(passing / "deep" / "register")
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(), CLAW_A)
    upgrade_register(old_register(passing / "old", 1))
    return {
        str(path.relative_to(passing)): (path.is_dir(), path.stat().st_mode & 0o7777) for path in passing.rglob("*")
    }


def test_folder_that_is_there_keeps_its_own_permissions(tmp_path: Path) -> None:
    folder = tmp_path / "register"
    folder.mkdir()
    folder.chmod(0o770)
    make_register(folder, STUDENT, SetClock())
    assert folder.stat().st_mode & 0o7777 == 0o770


@pytest.fixture(autouse=True)
def nothing_left(tmp_path: Path) -> Iterator[None]:
    yield
    shutil.rmtree(tmp_path, ignore_errors=True)

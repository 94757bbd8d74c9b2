"""`pitwright part import`: its report, its bar, its exit codes, and Ctrl-C and kills in the middle."""

import json
import os
import pty
import re
import select
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import pytest

from register.actions.checking import check_register
from register.opening import open_register
from tests.benchmarks.folder_import import make_folder
from tests.cli.command_line import PROGRAM, ROOT, WHO, command, environment, two_sentences
from tests.geometry.stl_bytes import binary, cube
from tests.shops import SHOP_TOML
from tests.whole_parts import halves
from tests.whole_parts import imported as revisions_in

POSIX = pytest.mark.skipif(os.name != "posix", reason="terminals and signals are those of POSIX")
CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e]")


@pytest.fixture
def register(tmp_path: Path) -> Path:
    """A register of the demo's shop without a part."""
    folder = tmp_path / "register"
    (tmp_path / "shop.toml").write_bytes(SHOP_TOML)
    assert command("init", str(folder), "--shop", str(tmp_path / "shop.toml")).code == 0
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "meshes"
    made.mkdir()
    for number in range(3):
        (made / f"RV-{number} cube {number}.stl").write_bytes(binary(cube(10.0 + number)))
    return made


def words(folder: Path, *more: str) -> tuple[str, ...]:
    return ("part", "import", str(folder), "--material", "PLA", *more)


def test_report_has_every_part_and_every_reason(register: Path, folder: Path) -> None:
    (folder / "RV-7.stl").write_bytes(b"solid but not really")
    (folder / "notes.txt").write_text("see RV-1")
    (folder / "RV-0 cube again.stl").write_bytes(binary(cube(10.0)))
    said = command(*words(folder), register=register)
    assert said.code == 3 and two_sentences(said.err)
    assert said.err.startswith("1 file was refused, as told above.")
    page = " ".join(said.out.split())
    assert f"6 files in {folder}: 3 added, 1 known already, 1 refused and 1 skipped." in page
    for text in ("RV-1", "cube 1", "A draft", "RV-7.stl", "1 file of other kinds (1 .txt)", "`pitwright undo 2`"):
        assert text in page
    assert "Known under another name" in page
    listed = command("part", "list", "--json", register=register).json
    assert [each["number"] for each in listed] == ["RV-0", "RV-1", "RV-2"]
    again = command(*words(folder), register=register)
    assert again.code == 3 and "4 known already" in again.out


def test_json_is_the_report_alone(register: Path, folder: Path) -> None:
    said = command(*words(folder, "--json", "--workers", "2"), register=register)
    assert said.err == ""
    view = said.json
    assert (view["added"], view["refused"], view["workers"], view["operations"]) == (3, 0, 2, [2])
    assert {each["part"]: each["name"] for each in view["files"]} == {f"RV-{n}": f"cube {n}" for n in range(3)}
    assert all(each["mass_g"] > 0 and each["duration_s"] > 0 for each in view["files"])


def test_dry_run_says_so_and_writes_nothing(register: Path, folder: Path) -> None:
    said = command(*words(folder, "--dry-run"), register=register)
    assert said.code == 0 and "nothing was written, since this is a dry run" in " ".join(said.out.split())
    assert revisions_in(register) == 0


def test_new_revisions_are_logged_where_that_is_asked_for_and_said(register: Path, folder: Path) -> None:
    assert command(*words(folder), register=register).code == 0
    (folder / "RV-1 cube 1.stl").write_bytes(binary(cube(30.0)))
    left = command(*words(folder), register=register)
    assert left.code == 0 and "1 changed and left" in " ".join(left.out.split())
    assert "Changed, and left for you to decide" in left.out
    done = command(*words(folder, "--new-revisions", "ribs"), register=register)
    assert done.code == 0 and "1 logged as a new revision" in done.out and "B draft" in done.out
    assert "interchangeable" in done.out


@pytest.mark.parametrize(
    ("more", "code"),
    [
        (("--unit", "parsec"), 3),
        (("--longest", "0 s"), 3),
        (("--longest", "soon"), 3),
        (("--workers", "0"), 2),
        (("--machine", "Nobody"), 4),
    ],
)
def test_words_that_cannot_be_meant_are_refused(register: Path, folder: Path, more: tuple[str, ...], code: int) -> None:
    assert command(*words(folder, *more), register=register).code == code
    assert revisions_in(register) == 0


def test_names_of_files_drive_no_terminal(register: Path, folder: Path) -> None:
    for place, name in enumerate(("\x1b[31mRV-8.stl", "a\u202eb.stl", "[bold]RV-9[x].stl", "line\nbreak.txt")):
        (folder / name).write_bytes(binary(cube(20.0 + place)))
    if os.name == "posix":
        Path(os.fsdecode(os.fsencode(folder) + b"/caf\xe9.stl")).write_bytes(binary(cube(40.0)))
    for more in ((), ("--json",)):
        said = command(*words(folder, *more), register=register)
        assert said.code == 3
        assert not CONTROLS.search(said.out + said.err)
    assert "[bold]RV-9[x]" in command("part", "list", register=register).out


def living(session: int) -> int:
    """Processes of a session that have not ended."""
    count = 0
    for entry in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            state, _, _, its_session = entry.read_text().rpartition(")")[2].split()[:4]
            count += int(its_session) == session and state != "Z"
    return count


def ended(
    register: Path, folder: Path, sign: signal.Signals, in_group: bool, begun: int = 1
) -> subprocess.CompletedProcess[bytes]:
    """The command, struck by a signal once so many files wait to be written."""
    running = subprocess.Popen(
        [*PROGRAM, "--register", str(register), *words(folder, "--json", "--workers", "2")],
        cwd=ROOT,
        env=environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    until = time.monotonic() + 60
    while len(list((register / "files").glob(".*"))) < begun and time.monotonic() < until:
        assert running.poll() is None, running.communicate()
        time.sleep(0.002)
    if in_group:
        os.killpg(running.pid, sign)
    else:
        running.send_signal(sign)
    out, err = running.communicate(timeout=60)
    until = time.monotonic() + 10
    while living(running.pid) and time.monotonic() < until:
        time.sleep(0.02)
    assert living(running.pid) == 0
    return subprocess.CompletedProcess([], running.returncode, out, err)


@POSIX
@pytest.mark.parametrize(("sign", "in_group"), [(signal.SIGINT, True), (signal.SIGTERM, False)])
def test_ctrl_c_ends_all_processes_and_keeps_what_was_estimated(
    register: Path, tmp_path: Path, sign: signal.Signals, in_group: bool
) -> None:
    files = 40
    make_folder(tmp_path / "many", files)
    done = ended(register, tmp_path / "many", sign, in_group, begun=2)
    assert done.returncode == 130
    view = json.loads(done.stdout)
    assert view["added"] >= 2 and view["refused"] == 0 and view["added"] + view["not_reached"] == files
    kept = view["added"]
    assert done.stderr.decode().splitlines() == [
        f"{kept} kept, {view['not_reached']} not reached. Import the folder again for the others.",
        "Stopped; nothing is half-written.",
    ]
    assert revisions_in(register) == kept and halves(register) == []
    assert not list((register / "files").glob(".*"))
    assert command("check", register=register).code == 0
    rest = command(*words(tmp_path / "many", "--json"), register=register).json
    assert (rest["known"], rest["added"]) == (kept, files - kept)


@POSIX
def test_kill_leaves_whole_parts_and_no_process(register: Path, tmp_path: Path) -> None:
    files = 24
    make_folder(tmp_path / "many", files)
    done = ended(register, tmp_path / "many", signal.SIGKILL, in_group=False)
    assert done.returncode == -signal.SIGKILL
    check_register(open_register(register, WHO))
    assert revisions_in(register) == 0 and halves(register) == []
    assert command(*words(tmp_path / "many", "--json"), register=register).json["added"] == files


def on_a_terminal(words_said: tuple[str, ...]) -> tuple[bytes, str]:
    """What the program writes to its output, a pipe, and to its standard error, a terminal."""
    ours, its = pty.openpty()
    running = subprocess.Popen(
        [*PROGRAM, *words_said],
        cwd=ROOT,
        env=environment(TERM="xterm-256color"),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=its,
    )
    os.close(its)
    assert running.stdout is not None
    pipes = {ours: bytearray(), running.stdout.fileno(): bytearray()}
    open_ones = set(pipes)
    while open_ones:
        for pipe in select.select(list(open_ones), [], [], 60)[0]:
            try:
                piece = os.read(pipe, 65536)
            except OSError:
                piece = b""
            pipes[pipe] += piece
            open_ones -= set() if piece else {pipe}
    assert running.wait(60) == 0
    out = bytes(pipes[running.stdout.fileno()])
    running.stdout.close()
    os.close(ours)
    return out, pipes[ours].decode()


@POSIX
def test_bar_is_drawn_on_a_terminals_standard_error_and_never_beside_json(register: Path, tmp_path: Path) -> None:
    files = 12
    make_folder(tmp_path / "many", files)
    before = ("--register", str(register))
    _, silent = on_a_terminal((*before, *words(tmp_path / "many", "--dry-run", "--json")))
    assert silent == ""
    out, drawn = on_a_terminal((*before, *words(tmp_path / "many")))
    assert "estimating" in drawn and f"of {files} files" in drawn
    assert b"estimating" not in out and b"\x1b" not in out and f"{files} added".encode() in out
    # The line is cleared, and the cursor is shown again: ECMA-48 erases a line with 2K, and 25h shows the cursor.
    assert drawn.rindex("\x1b[?25h") > drawn.rindex("\x1b[?25l")
    assert "\x1b[2K" in drawn

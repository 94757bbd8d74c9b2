"""`pitwright part import` ended in a terminal or killed in the middle, run twice at once, and given odd folders."""

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from tests.cli.command_line import PROGRAM, ROOT, command, environment, two_sentences
from tests.geometry.stl_bytes import binary, box, sphere
from tests.shops import SHOP_TOML
from tests.whole_parts import files_without_a_row, halves, imported

POSIX = pytest.mark.skipif(os.name != "posix", reason="signals and terminals are those of POSIX")
# The terminal of the test becomes the program's own, so that it gives Ctrl-C to the program and all that it started.
IN_A_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(2, termios.TIOCSCTTY, 0); os.execv(sys.argv[1], sys.argv[1:])"
)


@pytest.fixture
def register(tmp_path: Path) -> Path:
    """A register of the demo's shop, without a part."""
    folder = tmp_path / "register"
    (tmp_path / "shop.toml").write_bytes(SHOP_TOML)
    assert command("init", str(folder), "--shop", str(tmp_path / "shop.toml")).code == 0
    return folder


def blocks(folder: Path, files: int) -> Path:
    """A folder of small parts, each estimated in milliseconds."""
    folder.mkdir()
    for number in range(files):
        (folder / f"N-{number} block.stl").write_bytes(binary(box(20.0 + number / 8, 10.0, 6.0)))
    return folder


def words(register: Path, folder: Path, *more: str) -> list[str]:
    return [*PROGRAM, "--register", str(register), "part", "import", str(folder), "--material", "PLA", *more]


def started(register: Path, folder: Path, *more: str) -> "subprocess.Popen[bytes]":
    """The program at work in a group of processes of its own."""
    return subprocess.Popen(
        words(register, folder, *more),
        cwd=ROOT,
        env=environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def wait_for(condition: Callable[[], bool], longest_s: float = 30.0) -> None:
    until = time.monotonic() + longest_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.002)


def waiting_files(register: Path) -> int:
    """Files that were estimated and wait to be written."""
    return sum(1 for _ in (register / "files").glob(".*"))


def settled_files(register: Path) -> int:
    return sum(1 for _ in (register / "files").glob("??/*"))


def assert_whole(register: Path) -> int:
    """That the register opens and is sound, with whole parts alone; how many."""
    said = command("check", register=register)
    assert said.code == 0, said.err
    assert halves(register) == []
    assert len(command("part", "list", "--json", register=register).json) == imported(register)
    return imported(register)


@POSIX
@pytest.mark.parametrize("writing", [False, True], ids=["while files are estimated", "while a batch is written"])
def test_program_that_is_killed_leaves_whole_batches_and_the_next_import_brings_the_others(
    register: Path, tmp_path: Path, writing: bool
) -> None:
    folder = blocks(tmp_path / "long", 130)
    running = started(register, folder)
    wait_for(lambda: settled_files(register) >= 1 if writing else waiting_files(register) >= 20)
    running.kill()
    running.communicate(timeout=30)
    # A batch of 100 is there, or it is not.
    assert assert_whole(register) in {0, 100, 130}
    said = command("part", "import", str(folder), "--material", "PLA", register=register)
    assert said.code == 0, said.err
    assert assert_whole(register) == 130
    # What the killed one left lying about is taken when it is an hour old.
    hour_ago = time.time() - 3700
    for path in files_without_a_row(register):
        os.utime(path, (hour_ago, hour_ago))
    assert command("check", "--tidy", register=register).code == 0
    assert files_without_a_row(register) == []
    assert assert_whole(register) == 130


@POSIX
def test_ctrl_c_in_a_terminal_keeps_what_was_estimated_and_says_so(register: Path, tmp_path: Path) -> None:
    import pty

    # Each of these takes a good part of a second; together far longer than the test waits.
    folder = tmp_path / "long"
    folder.mkdir()
    for number in range(60):
        (folder / f"N-{number} ball.stl").write_bytes(binary(sphere(15.0 + number / 8, 100)))
    ours, its = pty.openpty()
    running = subprocess.Popen(
        [sys.executable, "-c", IN_A_TERMINAL, *words(register, folder, "--json")],
        cwd=ROOT,
        env=environment(TERM="xterm"),
        stdin=its,
        stdout=subprocess.PIPE,
        stderr=its,
        start_new_session=True,
    )
    os.close(its)
    wait_for(lambda: waiting_files(register) >= 2)
    # The sign that the key sends; the terminal makes an interrupt of it.
    os.write(ours, b"\x03")
    out, _ = running.communicate(timeout=30)
    written = b""
    with suppress(OSError):
        while piece := os.read(ours, 65536):
            written += piece
    os.close(ours)
    assert running.returncode == 130
    report = json.loads(out)
    assert report["added"] >= 2 and report["refused"] == 0
    assert report["added"] + report["not_reached"] == 60
    said = written.decode()
    assert f"{report['added']} kept, {report['not_reached']} not reached." in said
    assert "Traceback" not in said
    assert assert_whole(register) == report["added"]
    assert files_without_a_row(register) == []


def test_two_imports_at_once_take_nothing_twice(register: Path, tmp_path: Path) -> None:
    folder = blocks(tmp_path / "both", 40)
    both = [started(register, folder, "--json") for _ in range(2)]
    reports = []
    for each in both:
        out, err = each.communicate(timeout=60)
        assert (each.returncode, err) == (0, b"")
        reports.append(json.loads(out))
    assert sum(report["added"] for report in reports) == 40
    assert all(report["added"] + report["known"] == 40 for report in reports)
    assert assert_whole(register) == 40
    assert files_without_a_row(register) == []


def test_folder_that_is_empty_missing_or_a_file(register: Path, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    said = command("part", "import", str(empty), register=register)
    assert (said.code, " ".join(said.out.split()), said.err) == (0, f"{empty} holds no files.", "")
    for wrong in (tmp_path / "nowhere", tmp_path / "shop.toml"):
        refused = command("part", "import", str(wrong), register=register)
        assert (refused.code, refused.out) == (3, "") and two_sentences(refused.err)


def test_file_names_that_are_formulas_are_none_in_an_exported_table(register: Path, tmp_path: Path) -> None:
    folder = tmp_path / "formulas"
    folder.mkdir()
    for place, name in enumerate(("=1+2 sum", "@SUM-1", "+4")):
        (folder / f"{name}.stl").write_bytes(binary(box(20.0 + place, 10.0, 6.0)))
    assert command("part", "import", str(folder), "--material", "PLA", register=register).code == 0
    table = tmp_path / "parts.csv"
    assert command("export", str(table), register=register).code == 0
    lines = table.read_text(encoding="utf-8-sig").splitlines()
    assert len(lines) == 4
    assert not any(re.match(r'"?[=@+\t\r-]', cell) for line in lines for cell in line.split(","))

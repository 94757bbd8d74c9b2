"""What the program says and leaves with when something is wrong: never a traceback, always a cure."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from register.actions import parts
from register.cli.__main__ import main
from tests.cli.command_line import PROGRAM, ROOT, command, environment, program, two_sentences

POSIX = pytest.mark.skipif(os.name != "posix", reason="pipes and terminals are those of POSIX")


@pytest.fixture
def signals_as_before() -> Iterator[None]:
    """The program takes signals for itself; a test gives them back."""
    names = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    kept = {number: signal.getsignal(number) for number in names}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


def left_with(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["pitwright", *words])
    with pytest.raises(SystemExit) as left:
        main()
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nonsense",), "There is no command 'nonsense'."),
        (("part", "nonsense"), "There is no command 'nonsense'."),
        (("part", "add"), "The number is missing."),
        (("part", "list", "hub", "more"), "There is a word too many: more."),
        (("part", "list", "--nope"), "There is no option --nope."),
        (("part", "list", "--regster", "x"), "There is no option --regster; is it --register?"),
        (("job", "add", "QS-101", "two"), "'two' for quantity is not a whole number."),
        (("job", "add", "QS-101", "2", "--weight", "heavy"), "'heavy' for --weight is not a number."),
        (("job", "hold", "A-1"), "The option --because is missing."),
        (("spare", "take", "QS-101", "--robot"), "The option --robot needs a value."),
        (("part", "list", "--json=yes"), "The option --json takes no value."),
        (("history", "--most", "0"), "'0' for --most is too small: it is at least 1."),
        (("history", "--most", "999999"), "'999999' for --most is too large: it is at most 100000."),
        (
            ("replacement", "add", "Marl", "lip", "--cause", "bored"),
            "'bored' for --cause is none of: worn, broken, wrong, precaution.",
        ),
        (("",), "There is no command ''."),
    ],
)
def test_wrong_words_are_told_in_our_own_words(words: tuple[str, ...], said: str) -> None:
    answer = command(*words)
    assert (answer.code, answer.out) == (2, "")
    first, second = answer.err.splitlines()
    assert first == said
    assert re.fullmatch(r"See `pitwright( [a-z]+)* --help`\.", second)


def test_mistyped_register_is_told_and_nothing_is_made(tmp_path: Path) -> None:
    said = command("part", "list", register=tmp_path / "regsiter")
    assert (said.code, said.out) == (4, "") and two_sentences(said.err)
    assert str(tmp_path / "regsiter") in said.err
    assert list(tmp_path.iterdir()) == []


def test_register_that_is_something_else_or_damaged_is_told(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "page").mkdir()
    (tmp_path / "page" / "register.db").write_text("<html>" * 1000)
    said = command("part", "list", register=tmp_path / "page")
    assert said.code == 5 and two_sentences(said.err)
    database = demo / "register.db"
    whole = database.read_bytes()
    # A page of zeros in the middle of the file.
    database.write_bytes(whole[:40960] + bytes(4096) + whole[45056:])
    damaged = command("check", register=demo)
    assert damaged.code == 5 and two_sentences(damaged.err)


def test_file_of_the_register_that_was_changed_is_found_by_check(demo: Path) -> None:
    file = next(path for path in sorted((demo / "files").rglob("*")) if path.is_file())
    file.chmod(0o644)
    file.write_bytes(file.read_bytes() + b" ")
    said = command("check", register=demo)
    assert said.code == 5 and two_sentences(said.err)


@pytest.mark.usefixtures("signals_as_before")
def test_fault_of_ours_is_one_sentence_and_a_log_without_the_shops_words(
    demo: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("secret of the shop")

    monkeypatch.setattr(parts, "list_parts", broken)
    assert left_with(monkeypatch, "--register", str(demo), "part", "list") == 1
    out, err = capsys.readouterr()
    assert out == "" and two_sentences(err) and "secret" not in err
    assert "a fault of the program, not of yours" in err
    found = re.search(r"Send the file (\S+\.log) ", err)
    assert found is not None
    log = Path(found.group(1)).read_text(encoding="utf-8")
    assert "ZeroDivisionError" in log and "part_commands.py:" in log and "secret" not in log


@pytest.mark.usefixtures("signals_as_before")
def test_ctrl_c_leaves_with_130_and_without_a_traceback(
    demo: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(parts, "list_parts", stopped)
    assert left_with(monkeypatch, "--register", str(demo), "part", "list") == 130
    assert capsys.readouterr() == ("", "Stopped; nothing is half-written.\n")


@pytest.mark.usefixtures("signals_as_before")
@pytest.mark.parametrize(
    ("words", "code"), [(("part", "list"), 0), (("part", "nonsense"), 2), (("part", "show", "QS-999"), 4)]
)
def test_program_leaves_with_the_code_of_its_command(
    demo: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], code: int
) -> None:
    assert left_with(monkeypatch, "--register", str(demo), *words) == code


def test_version_is_that_of_the_package() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    found = re.search(r'^version = "(.*)"$', text, re.MULTILINE)
    assert found is not None
    assert command("--version").out == f"pitwright {found.group(1)}\n"


@POSIX
@pytest.mark.parametrize("words", [("part", "list"), ("history", "--json"), ("--help",)])
def test_reader_that_has_gone_is_no_fault(demo: Path, words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [*PROGRAM, "--register", str(demo), *words] if words != ("--help",) else [*PROGRAM, *words],
            cwd=ROOT,
            env=environment(),
            stdin=subprocess.DEVNULL,
            stdout=writing,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@POSIX
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
def test_output_that_cannot_be_written_is_told(demo: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*PROGRAM, "--register", str(demo), "part", "list"],
            cwd=ROOT,
            env=environment(),
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    assert done.returncode == 3 and two_sentences(done.stderr.decode())


def on_a_terminal(words: tuple[str, ...], env: dict[str, str]) -> str:
    """What the program writes to a terminal of its own, 100 columns wide."""
    import fcntl
    import pty
    import struct
    import termios

    ours, its = pty.openpty()
    fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 100, 0, 0))
    running = subprocess.Popen([*PROGRAM, *words], cwd=ROOT, env=env, stdin=its, stdout=its, stderr=subprocess.PIPE)
    os.close(its)
    written = bytearray()
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        written += piece
    _, err = running.communicate(timeout=60)
    os.close(ours)
    assert (running.returncode, err) == (0, b"")
    return written.decode("utf-8")


@POSIX
def test_colour_is_for_terminals_alone_and_no_color_takes_it_away(demo: Path) -> None:
    env = environment(TERM="xterm-256color")
    env.pop("COLUMNS")
    words = ("--register", str(demo), "spare", "list")
    coloured = on_a_terminal(words, env)
    # ECMA-48: 31 to 37 set the colour of the sign, 41 to 47 that of its ground.
    assert re.search(r"\x1b\[(?:1;)?3[1-7](?:;4[1-7])?m", coloured)
    assert max(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in coloured.splitlines()) <= 100
    plain = on_a_terminal(words, env | {"NO_COLOR": "1"})
    assert not re.search(r"\x1b\[[0-9;]*[34][0-7]", plain)
    assert "NO SPARE" in plain
    assert "\x1b" not in program(*words, env=env).out


@POSIX
@pytest.mark.parametrize(
    ("closed", "words", "code"),
    [(">&-", "--version", 0), ("2>&-", "estimate no.stl", 3), ("<&- >&- 2>&-", "--version", 0)],
)
def test_streams_that_are_closed_cost_no_traceback(closed: str, words: str, code: int) -> None:
    # POSIX.1-2017, Shell Command Language 2.7.5: `>&-` closes standard output.
    line = f'"{sys.executable}" -m register.cli {words} {closed}'
    ran = subprocess.run(
        ["/bin/sh", "-c", line], cwd=ROOT, env=environment(), capture_output=True, timeout=60, check=False
    )
    assert ran.returncode == code
    assert b"Traceback" not in ran.stdout + ran.stderr and b"fault" not in ran.stdout + ran.stderr

"""The command line as a test speaks to it: in this process, or as the program itself in one of its own."""

import io
import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from register.cli.app import run

ROOT = Path(__file__).parents[2]
DEMO_PARTS = ROOT / "demo_parts"
PROGRAM = (sys.executable, "-m", "register.cli")
WHO = "Tuva Skifer"


@dataclass(frozen=True)
class Said:
    """What a command said, and its exit code."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The output as JSON; NaN and infinities are refused."""
        assert self.code == 0, self.err
        return json.loads(self.out, parse_constant=no_constant)


def no_constant(name: str) -> float:
    raise AssertionError(f"{name} is no JSON")


def command(*words: str, register: Path | None = None) -> Said:
    """Run a command in this process."""
    out, err = io.StringIO(), io.StringIO()
    before = ("--register", str(register)) if register is not None else ()
    with redirect_stdout(out), redirect_stderr(err):
        code = run([*before, *words])
    return Said(code, out.getvalue(), err.getvalue())


def environment(**more: str) -> dict[str, str]:
    """The environment of the program: a home of the test's own stands in it already."""
    return os.environ | more


def program(*words: str, env: Mapping[str, str] | None = None) -> Said:
    """Run the program in a process of its own, without a terminal."""
    done = subprocess.run(
        [*PROGRAM, *words],
        cwd=ROOT,
        env=dict(env) if env is not None else environment(),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
        check=False,
    )
    return Said(done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8"))


def two_sentences(said: str) -> bool:
    """Whether a message is a sentence of what and one of what to do, each in a line of its own."""
    lines = said.splitlines()
    return len(lines) == 2 and all(line[-1:] in ".?!" and not line.startswith("Traceback") for line in lines)


def stored(register: Path) -> tuple[dict[str, int], list[str]]:
    """Rows of every table, and every file in the register's folder."""
    connection = sqlite3.connect(register / "register.db")
    try:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}
    finally:
        connection.close()
    return rows, sorted(path.relative_to(register).as_posix() for path in register.rglob("*") if path.is_file())


def entries(view: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value in a JSON view, with its key; one in a list or a mapping has that one's key before it."""
    if isinstance(view, dict):
        for name, value in view.items():
            yield from entries(value, f"{key}.{name}" if key else name)
    elif isinstance(view, list):
        for value in view:
            yield from entries(value, key)
    else:
        yield key, view

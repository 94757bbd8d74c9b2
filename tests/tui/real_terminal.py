"""The program in a terminal of its own: a pseudo-terminal that is drained all the time, as a real one is."""

import contextlib
import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Mapping
from pathlib import Path

ROOT = Path(__file__).parents[2]
AS_COMMAND = "from register.cli.__main__ import main; main()"


NOT_PASSED_ON = {"NO_COLOR", "TEXTUAL", "COLUMNS", "LINES"}


class Terminal:
    """A Python program that runs in a terminal of `size` (columns, rows)."""

    def __init__(
        self,
        program: str,
        *arguments: str,
        environment: Mapping[str, str] | None = None,
        size: tuple[int, int] = (80, 24),
    ) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        plain = {
            name: text for name, text in os.environ.items() if name not in {"NO_COLOR", "TEXTUAL", "COLUMNS", "LINES"}
        }
        self._process = subprocess.Popen(
            [sys.executable, "-c", program, *arguments],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=ROOT,
            env=plain | {"TERM": "xterm-256color"} | dict(environment or {}),
            start_new_session=True,
        )
        os.close(theirs)
        self.written = b""

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *raised: object) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        os.close(self._ours)

    def end(self, sign: signal.Signals) -> None:
        """Send the program a signal."""
        self._process.send_signal(sign)

    def type(self, keys: str) -> None:
        os.write(self._ours, keys.encode())

    def wait_for(self, text: str, longest_s: float = 20.0) -> None:
        """Wait until the program has written `text`."""
        end = time.monotonic() + longest_s
        while text.encode() not in self.written:
            if time.monotonic() > end or not self._drain():
                raise AssertionError(f"{text!r} was not written:\n{self.written.decode(errors='replace')}")

    def left(self, longest_s: float = 20.0) -> int:
        """Wait until the program has ended; gives back its exit code."""
        end = time.monotonic() + longest_s
        while self._drain():
            assert time.monotonic() < end, self.written.decode(errors="replace")
        return self._process.wait(max(0.1, end - time.monotonic()))

    def _drain(self) -> bool:
        """Read what is there; False once the program has closed its terminal."""
        if select.select([self._ours], [], [], 0.05)[0]:
            with contextlib.suppress(OSError):
                got = os.read(self._ours, 65536)
                self.written += got
                return bool(got)
            return False
        return True

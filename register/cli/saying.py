"""What is said on standard error, and the log of faults of ours."""

import os
import sys
import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path

from register.domain.texts import shown
from register.errors import RegisterError


def say_error(error: RegisterError) -> int:
    """Say what is wrong and what to do about it; gives back the exit code."""
    print(shown(error.what), file=sys.stderr)
    print(shown(error.cure), file=sys.stderr)
    return error.exit_code


def say_note(text: str) -> None:
    """Say something beside the result."""
    for line in text.splitlines():
        print(shown(line), file=sys.stderr)


def say_fault(error: BaseException) -> int:
    """Log a fault of ours and say where; gives back the exit code."""
    said = f"pitwright failed ({type(error).__name__}); this is a fault of the program, not of yours."
    print(said, file=sys.stderr)
    try:
        print(f"Send the file {log_fault(error)} to whoever keeps pitwright here.", file=sys.stderr)
    except OSError:
        print("Its log could not be written either; check the space on the disk.", file=sys.stderr)
    return 1


def log_fault(error: BaseException) -> Path:
    """Write where a fault happened, without the values and texts of the register, and give back the file."""
    import platformdirs

    try:
        folder = Path(platformdirs.user_log_path("pitwright", appauthor=False))
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        folder = Path(tempfile.gettempdir())
    lines = [f"{type(error).__name__}"]
    for frame in traceback.extract_tb(error.__traceback__):
        lines.append(f"{Path(frame.filename).name}:{frame.lineno} in {frame.name}")
    path = folder / f"fault-{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{os.getpid()}.log"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path

"""What a short command costs beside the libraries that it stands on: CPU of whole processes, in turns.

python tests/benchmarks/start_up.py [--repeats 9] [--limit 1.4] [--json] [-- COMMAND …]

The command is `spare list --json` on the demo shop, or what is given; the reference imports typer, rich.table and
sqlmodel and ends. The least of all repeats counts: whatever else the computer does only adds to it.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
REFERENCE = "import typer, rich.table, sqlmodel"
COMMAND = ("spare", "list", "--json")


@dataclass(frozen=True)
class StartUp:
    """CPU, user and system, in milliseconds."""

    command: str
    command_ms: float
    reference_ms: float
    ratio: float


def start_up(register: Path, command: Sequence[str], repeats: int) -> StartUp:
    """Run the command on a register and the reference in turns."""
    program = [sys.executable, "-m", "register.cli", "--register", str(register), *command]
    reference = [sys.executable, "-c", REFERENCE]
    taken = [(_cpu_ms(program), _cpu_ms(reference)) for _ in range(repeats)]
    least = [min(each) for each in zip(*taken, strict=True)]
    return StartUp(" ".join(command), least[0], least[1], least[0] / least[1])


def _cpu_ms(words: Sequence[str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return 1000 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def main() -> None:
    """Build the demo shop, measure, print; exit 1 if the ratio is over the limit."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--repeats", type=int, default=9)
    parser.add_argument("--limit", type=float, default=1.4, help="of the ratio")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("command", nargs="*", default=COMMAND)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        register = Path(passing) / "demo"
        demo = [sys.executable, "-m", "register.cli", "demo", str(register), "--report"]
        subprocess.run(demo, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        found = start_up(register, said.command, said.repeats)
    print(
        json.dumps(asdict(found))
        if said.json
        else f"{found.command}: {found.command_ms:.0f} ms, reference {found.reference_ms:.0f} ms, "
        f"ratio {found.ratio:.2f}, limit {said.limit:g}"
    )
    sys.exit(found.ratio > said.limit)


if __name__ == "__main__":
    main()

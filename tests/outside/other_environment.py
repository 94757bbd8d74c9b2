"""Runs what the project's own environment does not hold: scripts beside this file, by another Python."""

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.outside.machine_programs import Program

PYTHON_VARIABLE = "PITWRIGHT_OUTSIDE_PYTHON"
HERE = Path(__file__).parent


@dataclass(frozen=True)
class KernelShape:
    """A solid of the CAD kernel: whether it holds it valid, its exact figures, and its facets as an STL file."""

    valid: bool
    volume_mm3: float
    area_mm2: float
    file: Path


def python_with(package: str) -> str | None:
    """The Python that $PITWRIGHT_OUTSIDE_PYTHON names, or else this one, if it has the package; else None."""
    other = os.environ.get(PYTHON_VARIABLE)
    if not other:
        return sys.executable if importlib.util.find_spec(package) else None
    look = f"import importlib.util, sys; sys.exit(importlib.util.find_spec({package!r}) is None)"
    return other if subprocess.run([other, "-c", look], check=False, cwd=HERE).returncode == 0 else None


def answer_of(python: str, script: str, *words: str) -> Any:
    """What a script of this folder prints as JSON in the last line of its output."""
    done = subprocess.run([python, str(HERE / script), *words], check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout.splitlines()[-1])


def simulated_s(python: str, programs: dict[str, Program]) -> dict[str, dict[str, float]]:
    """For each program its duration by pyGCodeDecode and the CPU time of finding it: `duration_s`, `cpu_s`."""
    with tempfile.TemporaryDirectory() as passing:
        files = {f"{number}.gcode": name for number, name in enumerate(programs)}
        for file, name in files.items():
            (Path(passing) / file).write_text(programs[name].text, "utf-8")
        machines = {
            file: (programs[name].acceleration_mm_s2, programs[name].junction_deviation_mm)
            for file, name in files.items()
        }
        (Path(passing) / "machines.json").write_text(json.dumps(machines), "utf-8")
        answers = answer_of(python, "simulate_programs.py", passing)
    return {files[file]: answer for file, answer in answers.items()}


@contextmanager
def kernel_shapes(python: str, *words: str) -> Iterator[dict[str, KernelShape]]:
    """The solids of kernel_shapes.py by name; their files are gone at the end."""
    with tempfile.TemporaryDirectory() as passing:
        found = answer_of(python, "kernel_shapes.py", passing, *words)
        yield {
            name: KernelShape(said["valid"], said["volume_mm3"], said["area_mm2"], Path(passing) / said["file"])
            for name, said in found.items()
        }

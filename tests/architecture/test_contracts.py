"""Every import contract of pyproject.toml catches an import that it forbids; the code as it stands keeps them all."""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CONTRACTS = [
    contract["name"]
    for contract in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
]

STAIRS = "Calls go down the stairs, and every room stands on them"
SCREENS = "The screens stand between the command line and the actions"
FRONT_ENDS = "Front ends see actions, reports, opening, units, domain and errors alone"
OUTER_LIBRARIES = "Only the store speaks SQL, only units speaks pint"
ARITHMETIC = "The arithmetic knows no database, screen, path or process"
DOMAIN = "The domain needs the standard library alone"
WRITTEN_UNITS = "Written units stop at the edge"
ACTIONS = "No action calls another"

# Each plant: the one contract that it breaks, and the files that are written (text by place).
PLANTS = {
    "a room calls a room beside it": (STAIRS, {"register/plan/planted.py": "import register.nest"}),
    "a room calls upward": (STAIRS, {"register/settings/planted.py": "import register.reports"}),
    "a room stands beside the stairs": (STAIRS, {"register/planted_room.py": ""}),
    "a screen calls the command line": (SCREENS, {"tui/planted.py": "import register.cli"}),
    "a screen opens the store": (FRONT_ENDS, {"tui/planted.py": "import register.store"}),
    "a screen speaks SQL": (FRONT_ENDS, {"tui/screens/planted.py": "import sqlite3"}),
    "a command reads meshes itself": (FRONT_ENDS, {"register/cli/planted.py": "from trimesh import Trimesh"}),
    "a report speaks SQL": (OUTER_LIBRARIES, {"register/reports/planted.py": "from sqlalchemy import select"}),
    "an action speaks pint": (OUTER_LIBRARIES, {"register/actions/planted.py": "import pint"}),
    "a plan opens a path": (ARITHMETIC, {"register/plan/planted.py": "from pathlib import Path"}),
    "a plan opens a path late": (ARITHMETIC, {"register/plan/planted.py": "def late():\n    import pathlib\n"}),
    "an estimate starts a process": (ARITHMETIC, {"register/estimate/planted.py": "import subprocess"}),
    "stocking reads written units": (ARITHMETIC, {"register/stocking/planted.py": "import register.units"}),
    "the domain counts in numpy": (DOMAIN, {"register/domain/planted.py": "import numpy"}),
    "an action reads written units": (WRITTEN_UNITS, {"register/actions/planted.py": "import register.units"}),
    "an action calls another": (
        ACTIONS,
        {
            "register/actions/planted_caller.py": "import register.actions.planted_called",
            "register/actions/planted_called.py": "",
        },
    ),
}


def lint(folder: Path) -> dict[str, str]:
    """Run import-linter over the copy in `folder`: KEPT or BROKEN for each contract."""
    # A process of its own: the linter would otherwise find the packages that this process has loaded.
    ran = subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True, no_logo=True))",
        ],
        cwd=folder,
        env={**os.environ, "COLUMNS": "200", "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    outcome = dict(re.findall(r"^(.+?) (KEPT|BROKEN)\b", ran.stdout, re.MULTILINE))
    assert set(outcome) == set(CONTRACTS), f"The linter did not get as far as every contract:\n{ran.stdout}{ran.stderr}"
    assert ran.returncode == (1 if "BROKEN" in outcome.values() else 0)
    return outcome


@pytest.fixture
def copied_packages(tmp_path: Path) -> Path:
    for package in ("register", "tui"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_code_as_it_stands_keeps_every_contract(copied_packages: Path) -> None:
    assert lint(copied_packages) == dict.fromkeys(CONTRACTS, "KEPT")


@pytest.mark.parametrize("plant", PLANTS)
def test_a_planted_import_breaks_its_contract_and_no_other(plant: str, copied_packages: Path) -> None:
    contract, files = PLANTS[plant]
    for place, text in files.items():
        (copied_packages / place).write_text(f"{text}\n", "utf-8")
    assert [name for name, state in lint(copied_packages).items() if state == "BROKEN"] == [contract]


def test_every_contract_has_a_plant() -> None:
    assert sorted({contract for contract, _ in PLANTS.values()}) == sorted(CONTRACTS)

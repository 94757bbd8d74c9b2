"""Wheel, sdist and editable install each hold what the demo shop needs, and nothing stray. No network is needed."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKED = ("register", "tui", "tests", "demo_parts", "README.md", "DEVELOPERS.md", "pyproject.toml", ".gitignore")
# What other tools leave in a used checkout.
STRAYS = (
    "register/__pycache__/errors.cpython-311.pyc",
    "demo_parts/__pycache__/draw.cpython-311.pyc",
    "tests/__pycache__/conftest.cpython-311.pyc",
    "tui/screens/__pycache__/__init__.cpython-311.pyc",
    ".coverage",
    ".mypy_cache/CACHEDIR.TAG",
    ".venv/pyvenv.cfg",
    "build/lib/register/errors.py",
    "dist/pitwright-0.0.1.tar.gz",
)
FIND_DEMO_FILES = """
import hashlib, json
from register.cli.demo_files import demo_folder
files = [entry for entry in demo_folder().iterdir() if entry.is_file()]
digests = {entry.name: hashlib.sha256(entry.read_bytes()).hexdigest() for entry in files}
print(json.dumps({"folder": str(demo_folder()), "files": digests}))
"""


def closed_off(**more: str) -> dict[str, str]:
    """This process's environment with neither this checkout nor any package index in its reach."""
    kept = {name: text for name, text in os.environ.items() if not name.startswith(("PIP_", "PYTHON", "PITWRIGHT_"))}
    pip = {"PIP_NO_INDEX": "1", "PIP_CONFIG_FILE": os.devnull, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    return kept | pip | {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONUTF8": "1"} | more


def run(*command: str | Path, cwd: Path, **more: str) -> str:
    """Run a command, closed off; its standard output."""
    ran = subprocess.run(
        command, cwd=cwd, env=closed_off(**more), capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert ran.returncode == 0, f"{command} ended with {ran.returncode}:\n{ran.stdout}\n{ran.stderr}"
    return ran.stdout


def files_of(folder: Path) -> set[str]:
    """Files under a folder of this checkout that belong to the project, by their place."""
    places = (path.relative_to(ROOT) for path in folder.rglob("*") if path.is_file())
    return {
        place.as_posix() for place in places if not any(part.startswith((".", "__pycache__")) for part in place.parts)
    }


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir() if path.is_file()}


@pytest.fixture(scope="module")
def used_checkout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of this checkout in which tools have left their things."""
    checkout = tmp_path_factory.mktemp("checkout")
    for name in PACKED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, checkout / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif (ROOT / name).exists():
            shutil.copy(ROOT / name, checkout)
    for stray in STRAYS:
        (checkout / stray).parent.mkdir(parents=True, exist_ok=True)
        (checkout / stray).write_bytes(b"stray")
    return checkout


@pytest.fixture(scope="module")
def built(used_checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel built from that sdist."""
    folder = tmp_path_factory.mktemp("built")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, used_checkout, cwd=folder)
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    (found,) = built.glob("pitwright-*-py3-none-any.whl")
    return found


@pytest.fixture(scope="module")
def unpacked(built: Path) -> Path:
    """The sdist, unpacked."""
    (archive,) = built.glob("pitwright-*.tar.gz")
    with tarfile.open(archive) as packed:
        packed.extractall(built / "unpacked", filter="data")
    (top,) = (built / "unpacked").iterdir()
    return top


class Environment:
    """A new environment that borrows the libraries of the running one, but not its pitwright."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        venv.create(folder, symlinks=os.name != "nt")
        self.scripts = Path(sysconfig.get_path("scripts", "venv", {"base": str(folder)}))
        self.python = self.scripts / ("python.exe" if os.name == "nt" else "python")
        site_packages = Path(sysconfig.get_path("purelib", "venv", {"base": str(folder)}))
        # Last in the order of the alphabet, so that what is installed here comes first.
        borrowed = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
        (site_packages / "zz_borrowed.pth").write_text("\n".join(sorted(borrowed)), "utf-8")

    def install(self, *what: str | Path) -> None:
        into = (
            "--python",
            self.python,
            "install",
            "--quiet",
            "--no-deps",
            "--no-build-isolation",
            "--ignore-installed",
        )
        run(sys.executable, "-m", "pip", *into, *what, cwd=self.folder)

    def demo_files(self) -> dict:
        return json.loads(run(self.python, "-I", "-c", FIND_DEMO_FILES, cwd=self.folder))


def test_wheel_holds_the_packages_and_the_demo_files_alone(wheel: Path) -> None:
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    code = files_of(ROOT / "register") | files_of(ROOT / "tui")
    assert held == code | {f"register/{place}" for place in files_of(ROOT / "demo_parts")}


def test_sdist_holds_code_tests_demo_files_and_documents_alone(unpacked: Path) -> None:
    held = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    folders = set().union(*(files_of(ROOT / name) for name in ("register", "tui", "tests", "demo_parts")))
    documents = {name for name in PACKED if (ROOT / name).is_file()}
    assert held == folders | documents | {"PKG-INFO"}


def test_wheel_built_from_the_checkout_holds_what_the_one_from_the_sdist_holds(
    used_checkout: Path, wheel: Path, tmp_path: Path
) -> None:
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", tmp_path, used_checkout, cwd=tmp_path)
    (direct,) = tmp_path.glob("*.whl")
    assert sorted(zipfile.ZipFile(direct).namelist()) == sorted(zipfile.ZipFile(wheel).namelist())


def test_installed_wheel_finds_the_demo_files_inside_itself(wheel: Path, tmp_path: Path) -> None:
    environment = Environment(tmp_path / "environment")
    environment.install(wheel)
    found = environment.demo_files()
    assert Path(found["folder"]).is_relative_to(environment.folder)
    assert found["files"] == digests(ROOT / "demo_parts")
    assert "estimate" in run(environment.scripts / "pitwright", "--help", cwd=tmp_path)


def test_editable_install_finds_the_demo_files_beside_the_packages(used_checkout: Path, tmp_path: Path) -> None:
    environment = Environment(tmp_path / "environment")
    environment.install("--editable", used_checkout)
    found = environment.demo_files()
    assert Path(found["folder"]) == used_checkout / "demo_parts"
    assert found["files"] == digests(ROOT / "demo_parts")


def test_unpacked_sdist_finds_the_demo_files_beside_the_packages(unpacked: Path, tmp_path: Path) -> None:
    found = json.loads(run(sys.executable, "-c", FIND_DEMO_FILES, cwd=tmp_path, PYTHONPATH=str(unpacked)))
    assert Path(found["folder"]) == unpacked / "demo_parts"
    assert found["files"] == digests(ROOT / "demo_parts")

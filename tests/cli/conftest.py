"""The demo shop, built once and copied for each test that changes it."""

import shutil
from pathlib import Path

import pytest

from tests.cli.command_line import WHO, command


@pytest.fixture(autouse=True)
def own_places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No register, name or log of whoever runs the tests, and a page of 120 columns."""
    for name in ("NO_COLOR", "FORCE_COLOR", "PITWRIGHT_REGISTER"):
        monkeypatch.delenv(name, raising=False)
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME", "HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.setenv("PITWRIGHT_WHO", WHO)
    monkeypatch.setenv("COLUMNS", "120")


@pytest.fixture(scope="session")
def built_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as it is built; not to be changed."""
    folder = tmp_path_factory.mktemp("built") / "demo"
    said = command("demo", str(folder), "--report", "--who", WHO)
    assert said.code == 0, said.err
    return folder


@pytest.fixture
def demo(built_demo: Path, tmp_path: Path) -> Path:
    """The register of the demo shop."""
    return Path(shutil.copytree(built_demo, tmp_path / "demo"))

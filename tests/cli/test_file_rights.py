"""What is written may be read by whom the shop's umask lets, and by nobody else."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, command

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has rights of another kind")


@contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


# A shop that works as one group, one that lets all read, and one that keeps to itself.
@pytest.mark.parametrize("mask", [0o002, 0o022, 0o077])
def test_every_file_of_a_register_has_the_rights_that_the_umask_leaves(tmp_path: Path, mask: int) -> None:
    register, whole = tmp_path / "register", tmp_path / "whole.zip"
    with umask(mask):
        assert command("init", "--shop", str(DEMO_PARTS / "shop.toml"), register=register).code == 0
        assert command("part", "add", "RV-1", "Hub", register=register).code == 0
        hub = str(DEMO_PARTS / "wheel-hub-a.stl")
        added = command("revision", "add", "RV-1", hub, "--material", "PETG", "--changed", "first", register=register)
        assert added.code == 0, added.err
        assert command("backup", register=register).code == 0
        assert command("export", str(whole), register=register).code == 0
    found = [register, *register.rglob("*"), whole]
    assert sum(path.is_file() for path in found) >= 4
    for path in found:
        wanted = (0o777 if path.is_dir() else 0o666) & ~mask
        assert path.stat().st_mode & 0o777 == wanted, (path.name, oct(path.stat().st_mode))

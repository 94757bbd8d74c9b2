"""README's job, word for word, from an empty folder."""

import shlex
from pathlib import Path

import pytest

from tests.cli.command_line import ROOT, command


def readme_commands() -> list[list[str]]:
    """The words of each pitwright command of the block, its comments left out."""
    text = (ROOT / "README.md").read_text("utf-8")
    block = text.split("## The job, from an empty folder")[1].split("```sh\n")[1].split("```")[0]
    lines = [shlex.split(line, comments=True) for line in block.splitlines()]
    return [words[1:] for words in lines if words[:1] == ["pitwright"]]


def test_the_job_of_the_readme_runs_word_for_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "demo_parts").symlink_to(ROOT / "demo_parts")
    (tmp_path / "shop.toml").write_bytes((ROOT / "demo_parts" / "shop.toml").read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PITWRIGHT_REGISTER", str(tmp_path / "register"))
    commands = readme_commands()
    assert len(commands) > 12
    for words in commands:
        said = command(*words)
        assert said.code == 0, (words, said.err)
    # The last word was an undo: the spare that was taken is back beside the other.
    (line,) = command("spare", "list", "--json").json
    assert line["usable_now"] == 2

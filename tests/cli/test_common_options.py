"""--register, --as-of, --who and --json, before the noun or behind the verb, and what the environment says."""

from pathlib import Path

import pytest

from tests.cli.command_line import WHO, command


@pytest.fixture
def register(tmp_path: Path) -> Path:
    """An empty register of the usual shop."""
    folder = tmp_path / "register"
    assert command("init", str(folder)).code == 0
    return folder


def test_common_options_are_taken_before_the_noun_and_behind_the_verb(register: Path) -> None:
    common = ("--register", str(register), "--as-of", "2031-03-04 12:00", "--who", "Iver Kleber", "--json")
    before = command(*common, "part", "add", "RV-1", "Hub").json
    behind = command("part", "add", "RV-2", "Hub", *common).json
    between = command(*common[:4], "part", "add", *common[4:], "RV-3", "Hub").json
    assert [each["number"] for each in (before, behind, between)] == ["RV-1", "RV-2", "RV-3"]
    history = command("history", "--json", "--most", "3", register=register).json
    # The usual shop keeps UTC.
    assert {(each["who"], each["at"]) for each in history} == {("Iver Kleber", "2031-03-04T12:00:00Z")}


def test_the_later_word_wins(register: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    assert command("init", str(other)).code == 0
    said = command("part", "add", "RV-1", "Hub", "--register", str(other), "--who", "B", register=register)
    assert said.code == 0
    assert command("part", "list", "--json", register=register).json == []
    assert len(command("part", "list", "--json", register=other).json) == 1


def test_environment_names_the_register_and_the_person(register: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PITWRIGHT_REGISTER", str(register))
    assert command("part", "add", "RV-1", "Hub").code == 0
    monkeypatch.setenv("PITWRIGHT_WHO", "Odd Feltspat")
    assert command("part", "add", "RV-2", "Hub").code == 0
    assert command("part", "add", "RV-3", "Hub", "--who", "Ragna Kvarts").code == 0
    people = [each["who"] for each in command("history", "--json", "--most", "3").json]
    assert people == ["Ragna Kvarts", "Odd Feltspat", WHO]


def test_option_goes_before_the_environment(register: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PITWRIGHT_REGISTER", str(tmp_path / "nowhere"))
    assert command("part", "list").code == 4
    assert command("part", "list", register=register).code == 0


@pytest.mark.parametrize("text", ["yesterday", "2031-02-30 10:00", "", "2031-03-30 02:30"])
def test_time_that_is_none_is_refused(demo: Path, text: str) -> None:
    said = command("plan", "--as-of", text, register=demo)
    # An empty time is as good as none; a time that the clocks skip in spring is no time in the shop's zone.
    assert said.code == (0 if text == "" else 3)


@pytest.mark.parametrize("who", ["\x1b[31mRed", "two\nlines", "x" * 201])
def test_name_that_cannot_be_kept_is_refused(register: Path, who: str) -> None:
    said = command("part", "add", "RV-1", "Hub", "--who", who, register=register)
    assert said.code == 3 and "\x1b" not in said.err
    assert command("part", "list", "--json", register=register).json == []


def test_messages_go_to_the_error_stream_and_the_result_alone_to_the_output(demo: Path) -> None:
    assert command("job", "start", "A-5", "--machine", "Lark", register=demo).code == 0
    made = command("job", "made", "A-5", "--json", register=demo)
    assert made.json["state"] == "made"
    assert made.err.startswith("Booked ")
    accepted_at = (("job", "finish", "A-5"), ("job", "accept", "A-5", "--json"))
    last = [command(*words, register=demo) for words in accepted_at][-1]
    assert last.json["state"] == "accepted"
    assert last.err == "1 of QS-105 revision B at shelf now.\n"

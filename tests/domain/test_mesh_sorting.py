"""Which part a file's name tells."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.mesh_imports import FoundFile, MeshImport, Outcome, Standing
from register.domain.mesh_sorting import endings, numbers_told, sorted_out, told_by_name
from register.domain.parts import Process
from register.domain.texts import NUMBER_LENGTH
from register.errors import BadText


@pytest.mark.parametrize(
    ("path", "number", "name"),
    [
        ("QS-101 gear.stl", "QS-101", "gear"),
        ("QS-101  wheel hub .stl", "QS-101", "wheel hub"),
        ("drive/left/QS-101 gear.3mf", "QS-101", "gear"),
        ("QS-101.stl", "QS-101", "QS-101"),
        ("gear.stl", "gear", "gear"),
        ("gear.v2.stl", "gear.v2", "gear.v2"),
        # A word without a figure is no number, and so all of the name is.
        ("left bracket.stl", "left-bracket", "left bracket"),
        ("left bracket 2.stl", "left-bracket-2", "left bracket 2"),
        ("部品 ロボット.stl", "部品-ロボット", "部品 ロボット"),
        ("Größe 10 Rad.stl", "Größe-10-Rad", "Größe 10 Rad"),
    ],
)
def test_name_of_a_file_tells_number_and_name(path: str, number: str, name: str) -> None:
    assert told_by_name(path) == (number, name)


@pytest.mark.parametrize(
    "path", ["-5.stl", " .stl", "a\u202eb.stl", "a\x1b[31m.stl", f"{'x' * (NUMBER_LENGTH + 1)}.stl"]
)
def test_name_that_is_no_number_is_refused(path: str) -> None:
    with pytest.raises(BadText):
        told_by_name(path)
    assert numbers_told([path, "RV-1.stl"]) == {"RV-1"}


@given(st.text(max_size=80))
def test_any_name_is_a_number_without_blanks_or_a_refusal(stem: str) -> None:
    try:
        number, name = told_by_name(f"folder/{stem}.stl")
    except BadText:
        return
    assert number and not any(sign.isspace() for sign in number) and name == name.strip() != ""


def test_endings_belong_to_the_process() -> None:
    assert ".dxf" in endings(Process.ROUTED) and ".dxf" not in endings(Process.PRINTED)
    assert {".stl", ".3mf", ".obj", ".ply"} == set(endings(Process.PRINTED)) == set(endings(Process.ROUTED)) - {".dxf"}


@given(
    st.lists(st.tuples(st.sampled_from(["RV-1", "rv-1", "RV-2", "left", "-"]), st.sampled_from("abcd")), max_size=12)
)
def test_each_file_is_taken_in_or_told_of_once_and_no_number_or_content_twice(said: list[tuple[str, str]]) -> None:
    files = [FoundFile(f"{place}/{stem}.stl", 1, content * 64) for place, (stem, content) in enumerate(said)]
    standing = Standing({"a" * 64: ("RV-9", "A")}, {}, {})
    chosen, lines = sorted_out(files, standing, MeshImport())
    paths = [each.file.path for each in chosen] + [each.file for each in lines]
    assert sorted(paths) == sorted(file.path for file in files)
    numbers = [each.part.number.casefold() for each in chosen]
    hashes = [each.file.sha256 for each in chosen]
    assert len(set(numbers)) == len(numbers) and len(set(hashes)) == len(hashes)
    assert "a" * 64 not in hashes
    assert all(each.outcome in (Outcome.KNOWN, Outcome.REFUSED) and each.what for each in lines)

"""Taking in a folder of meshes when it does not go smoothly: odd things in it, processes that die, others who write."""

import os
import signal
from multiprocessing import active_children
from pathlib import Path

import pytest

from register.actions import history, parts, revisions
from register.actions.importing_meshes import import_meshes
from register.domain.mesh_imports import FileLine, MeshImport, MeshImportProgress, MeshImportReport, Outcome
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.revisions import Interchange
from register.errors import NotFound
from register.opening import Register
from register.store.exchange_writing import Steps
from tests.geometry.stl_bytes import binary, box, cube
from tests.shops import SHOP_TOML, again, bare_register, dumped, files_in, logged, printed, set_up_register
from tests.whole_parts import halves
from tests.whole_parts import imported as revisions_in

PLA = MeshImport(material="PLA")
# Density of the demo's PLA, g/cm³.
PLA_G_MM3 = 1.24e-3


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return set_up_register(tmp_path / "register")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "drawn this week"
    made.mkdir()
    return made


def put(folder: Path, name: str, side_mm: float) -> bytes:
    """A cube's file in the folder."""
    content = binary(cube(side_mm))
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return content


def imported(register: Register, folder: Path, asked: MeshImport = PLA, **more: object) -> MeshImportReport:
    return import_meshes(register, folder, asked, **({"workers": 1} | more))  # type: ignore[arg-type]


def line(done: MeshImportReport, file: str) -> FileLine:
    return next(each for each in done.files if each.file == file)


def outcomes(done: MeshImportReport) -> dict[str, str]:
    return {each.file: each.outcome.value for each in done.files}


def counts(done: MeshImportReport) -> tuple[int, ...]:
    return (
        *(done.added, done.new_revisions, done.known, done.changed),
        *(done.refused, done.skipped, done.not_reached),
    )


def test_part_is_the_same_as_one_that_is_logged_alone(register: Register, folder: Path, tmp_path: Path) -> None:
    content = put(folder, "RV-1 hub.stl", 15.0)
    imported(register, folder)
    alone = set_up_register(tmp_path / "alone")
    parts.add_part(alone, "RV-1", "hub", False)
    request = RevisionRequest("RV-1", Process.PRINTED, "RV-1 hub.stl", material="PLA")
    logged(alone, request, content)
    together = parts.show_part(register, "RV-1")
    one_by_one = parts.show_part(alone, "RV-1")
    assert together.part == one_by_one.part
    assert together.revisions == one_by_one.revisions
    assert together.estimates == one_by_one.estimates
    # Every column of every row but keys and times of their making, so that no column is forgotten when one is added.
    for name in ("part", "revision", "estimate", "stored_file"):
        first, second = (
            [row for row in dumped(each)[name] if "RV-1" in repr(row) or name != "part"] for each in (register, alone)
        )
        assert [[type(value) for value in row] for row in first] == [[type(value) for value in row] for row in second]


def test_folders_within_are_looked_through_and_hidden_ones_are_not(register: Register, folder: Path) -> None:
    put(folder, "drive/left/RV-1.stl", 10.0)
    put(folder, ".thumbs/RV-2.stl", 11.0)
    put(folder, ".RV-3.stl", 12.0)
    done = imported(register, folder)
    assert outcomes(done) == {"drive/left/RV-1.stl": "added"}


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="there are no links")
def test_links_are_named_and_not_followed(register: Register, folder: Path, tmp_path: Path) -> None:
    put(tmp_path / "elsewhere", "RV-1.stl", 10.0)
    (folder / "out").symlink_to(tmp_path / "elsewhere")
    (folder / "RV-2.stl").symlink_to(tmp_path / "elsewhere" / "RV-1.stl")
    (folder / "round").symlink_to(folder)
    done = imported(register, folder)
    assert counts(done) == (0, 0, 0, 0, 0, 3, 0)
    assert {each.what for each in done.files} == {"is a link"}
    assert revisions_in(register.folder) == 0


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names")
def test_pipe_with_the_name_of_a_mesh_is_not_waited_for(register: Register, folder: Path) -> None:
    os.mkfifo(folder / "RV-1.stl")
    done = imported(register, folder)
    assert [(each.outcome, each.what) for each in done.files] == [(Outcome.SKIPPED, "is no plain file")]


def test_plates_are_taken_in_as_routed_parts_with_their_thickness(register: Register, folder: Path) -> None:
    (folder / "RV-1 plate.stl").write_bytes(binary(box(120.0, 60.0, 3.175)))
    done = imported(register, folder, MeshImport(Process.ROUTED, "6061", 3.175))
    assert counts(done) == (1, 0, 0, 0, 0, 0, 0)
    revision = parts.show_part(register, "RV-1").revisions[0]
    assert (revision.process, revision.material) == (Process.ROUTED, "6061")
    assert revision.thickness_mm == pytest.approx(3.175, abs=1e-4)


def test_changed_file_becomes_a_draft_with_the_next_letter_where_that_is_asked(
    register: Register, folder: Path
) -> None:
    put(folder, "RV-1.stl", 10.0)
    put(folder, "RV-2.stl", 20.0)
    # Kept in its material, and in the pose that was said to bear its load.
    parts.add_part(register, "RV-3", "claw", True)
    logged(register, printed("RV-3", material="PETG", keep_pose="loaded upwards"), binary(cube(30.0)))
    imported(register, folder)
    revisions.release_revision(register, "RV-1", "A")
    for number, side_mm in (("RV-1", 10.5), ("RV-3", 30.5)):
        put(folder, f"{number}.stl", side_mm)
    done = imported(register, folder, MeshImport(new_revisions="thicker ribs"))
    assert counts(done) == (0, 2, 1, 0, 0, 0, 0)
    sheet = parts.show_part(register, "RV-1")
    assert [(each.letter, each.state.value) for each in sheet.revisions] == [("A", "released"), ("B", "draft")]
    assert sheet.revisions[1].changed == "thicker ribs"
    assert sheet.revisions[1].interchange is Interchange.NONE
    claw = parts.show_part(register, "RV-3").revisions[1]
    assert (claw.letter, claw.material, claw.keep_pose) == ("B", "PETG", "loaded upwards")
    assert parts.show_part(register, "RV-3").part.wear
    # One undo takes both back.
    history.undo(register)
    assert [each.letter for each in parts.show_part(register, "RV-3").revisions] == ["A"]


def test_part_without_any_revision_gets_its_first_and_keeps_its_name(register: Register, folder: Path) -> None:
    parts.add_part(register, "RV-1", "Wheel hub of the drive", True)
    put(folder, "rv-1 something else.stl", 10.0)
    done = imported(register, folder)
    assert line(done, "rv-1 something else.stl").outcome is Outcome.ADDED
    sheet = parts.show_part(register, "RV-1")
    assert (sheet.part.number, sheet.part.name, sheet.part.wear) == ("RV-1", "Wheel hub of the drive", True)
    assert [each.letter for each in sheet.revisions] == ["A"]


def test_long_import_is_written_in_batches(register: Register, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("register.actions.importing_meshes.BATCH_FILES", 3)
    for number in range(8):
        put(folder, f"RV-{number}.stl", 10.0 + number)
    seen: list[int] = []
    done = imported(register, folder, on_progress=lambda progress: seen.append(revisions_in(register.folder)))
    assert len(done.operations) == 3
    # What is whole is there while the rest is still worked on.
    assert sorted(set(seen)) == [0, 3, 6]
    assert revisions_in(register.folder) == 8


def test_process_that_is_killed_costs_one_file_and_no_other(register: Register, folder: Path) -> None:
    for number in range(6):
        put(folder, f"RV-{number}.stl", 10.0 + number)

    def kill_one(progress: MeshImportProgress) -> None:
        if (progress.step, progress.files) == ("estimating", 2):
            os.kill(active_children()[0].pid or 0, signal.SIGKILL)

    done = imported(register, folder, on_progress=kill_one)
    assert counts(done) == (5, 0, 0, 0, 1, 0, 0)
    refused = next(each for each in done.files if each.outcome is Outcome.REFUSED)
    assert refused.what == "The process at work on it ended by itself (code -9)."
    assert halves(register.folder) == []


def test_error_in_the_middle_leaves_no_process_and_no_passing_file(register: Register, folder: Path) -> None:
    for number in range(4):
        put(folder, f"RV-{number}.stl", 10.0 + number)
    before = dumped(register)

    def cannot_show(progress: MeshImportProgress) -> None:
        if (progress.step, progress.files) == ("estimating", 2):
            assert any(name.startswith(".") for name in files_in(register))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        imported(register, folder, on_progress=cannot_show)
    assert active_children() == []
    assert (files_in(register), dumped(register)) == (set(), before)


def test_write_that_breaks_off_leaves_none_of_its_parts(
    register: Register, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(3):
        put(folder, f"RV-{number}.stl", 10.0 + number)
    before = dumped(register)
    plain = Steps.insert

    def breaks(steps: Steps, table: str, **columns: object) -> str:
        if table == "estimate" and len(steps.inserts.get("estimate", [])) == 2:
            raise KeyboardInterrupt
        return plain(steps, table, **columns)

    with monkeypatch.context() as broken, pytest.raises(KeyboardInterrupt):
        broken.setattr(Steps, "insert", breaks)
        imported(register, folder)
    assert dumped(register) == before
    assert not any(name.startswith(".") for name in files_in(register))
    assert imported(register, folder).added == 3


def test_others_who_write_meanwhile_are_not_overwritten(register: Register, folder: Path) -> None:
    contents = {number: put(folder, f"RV-{number}.stl", 10.0 + number) for number in range(4)}
    other = again(register)

    def meanwhile(progress: MeshImportProgress) -> None:
        if (progress.step, progress.files) == ("estimating", 4):
            # One logs the very file, one another file of that number, and one adds the bare part.
            for number in (0, 1, 2):
                parts.add_part(other, f"RV-{number}", "theirs", True)
            logged(other, printed("RV-0"), contents[0])
            logged(other, printed("RV-1"), binary(cube(50.0)))

    done = imported(register, folder, on_progress=meanwhile)
    assert outcomes(done) == {
        "RV-0.stl": "known",
        "RV-1.stl": "refused",
        "RV-2.stl": "added",
        "RV-3.stl": "added",
    }
    assert line(done, "RV-1.stl").what == "RV-1 got another revision meanwhile."
    assert parts.show_part(register, "RV-2").part.name == "theirs"
    assert history.list_operations(register)[0].why == "import drawn this week: 2 added"
    assert halves(register.folder) == []


def test_only_filament_of_a_shop_need_not_be_named(tmp_path: Path, folder: Path) -> None:
    blocks = SHOP_TOML.split(b"[[")
    kept = [each for each in blocks if b'form = "filament"' not in each or b'name = "PETG"' in each]
    toml = b"[[".join(kept).replace(b'["PLA", "PETG"]', b'["PETG"]')
    register = set_up_register(tmp_path / "register", toml=toml)
    put(folder, "RV-1.stl", 10.0)
    assert line(imported(register, folder, MeshImport()), "RV-1.stl").material == "PETG"


def test_register_without_a_shop_says_what_it_lacks(tmp_path: Path, folder: Path) -> None:
    put(folder, "RV-1.stl", 10.0)
    with pytest.raises(NotFound):
        imported(bare_register(tmp_path / "bare"), folder)

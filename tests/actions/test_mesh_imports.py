"""A folder of meshes becomes parts: every file is told of, none twice, and one undo takes a batch back."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from register.actions import checking, history, importing_meshes, parts, revisions
from register.actions.importing_meshes import import_meshes
from register.domain.estimates import PrintedEstimate
from register.domain.mesh_imports import FileLine, MeshImport, MeshImportProgress, MeshImportReport, Outcome
from register.domain.parts import Process
from register.domain.revisions import Interchange, RevisionState
from register.errors import BadFile, NotAllowed, NotFound, UnknownMaterial
from register.opening import Register, open_register
from tests.geometry.stl_bytes import binary, box
from tests.shops import CLAW_A, DEMO, PART, STUDENT, SetClock, logged, printed, set_up_register

PLA = MeshImport(material="PLA")


def block(side_mm: float) -> bytes:
    """A solid block; each has bytes of its own."""
    return binary(box(side_mm, 10.0, 6.0))


def folder_of(place: Path, **files: bytes) -> Path:
    """A folder with files by name; `__` in a name is a `/` and `_` a blank."""
    for name, content in files.items():
        path = place / f"{name.replace('__', '/').replace('_', ' ')}.stl"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return place


def outcomes(report: MeshImportReport) -> dict[str, Outcome]:
    return {each.file: each.outcome for each in report.files}


def told(report: MeshImportReport, file: str) -> FileLine:
    return next(each for each in report.files if each.file == file)


def rows(register: Register) -> dict[str, list[Any]]:
    """Every row of every table but those of the history itself."""
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        kept = set(names) - {"operation", "change", "sqlite_sequence", "sqlite_stat1"}
        return {name: sorted(connection.execute(f'SELECT * FROM "{name}"'), key=repr) for name in kept}


def operations(register: Register) -> int:
    return len(history.list_operations(register, most=1000))


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return set_up_register(tmp_path / "register")


def test_each_file_becomes_a_part_with_a_draft_and_the_estimate_that_its_file_gives_alone(
    register: Register, tmp_path: Path
) -> None:
    folder = folder_of(tmp_path / "new", **{"QS-901_wheel_hub": block(20.0), "left_bracket": block(21.0)})
    report = import_meshes(register, folder, PLA, workers=2)
    assert (report.added, report.refused, report.workers, len(report.operations)) == (2, 0, 2, 1)
    for number, name, file, content in (
        ("QS-901", "wheel hub", "QS-901 wheel hub.stl", block(20.0)),
        ("left-bracket", "left bracket", "left bracket.stl", block(21.0)),
    ):
        sheet = parts.show_part(register, number)
        (revision,) = sheet.revisions
        assert (sheet.part.name, sheet.part.wear) == (name, False)
        assert (revision.letter, revision.state, revision.material) == ("A", RevisionState.DRAFT, "PLA")
        assert (revision.file_name, revision.unit, revision.interchange) == (file, "mm", Interchange.NONE)
        assert (revision.logged_by, revision.logged_at) == (STUDENT, SetClock().now)
        assert register.files.read(revision.file_sha256 or "") == content
        # The same file, logged by hand in a register of its own, has the same estimate.
        other = set_up_register(tmp_path / number)
        parts.add_part(other, PART, "Claw", False)
        by_hand = revisions.prepare_revision(other, printed(), content).estimate
        assert isinstance(by_hand, PrintedEstimate)
        line = told(report, file)
        assert (line.mass_g, line.duration_s) == (by_hand.mass_g, by_hand.duration_s)
        assert (line.cost_cents, line.machine) == (by_hand.cost_cents, by_hand.machine)
        assert sheet.estimates == {"A": by_hand}
    checking.check_register(register)


def test_every_thing_in_a_folder_is_told_of_and_one_bad_file_stops_no_other(register: Register, tmp_path: Path) -> None:
    folder = folder_of(
        tmp_path / "mixed",
        good_1=block(20.0),
        sub__deeper__good_2=block(21.0),
        no_mesh=b"what a mesh is not",
        empty=b"",
        **{".hidden": block(22.0), ".shut__inside": block(23.0)},
    )
    (folder / "notes.txt").write_text("not a mesh")
    (folder / "README").write_text("not a mesh")
    (folder / "UPPER 3.STL").write_bytes(block(24.0))
    (folder / "link 4.stl").symlink_to(folder / "good 1.stl")
    (folder / "round").symlink_to(folder)
    os.mkfifo(folder / "pipe 5.stl")
    report = import_meshes(register, folder, PLA, workers=2)
    assert outcomes(report) == {
        "good 1.stl": Outcome.ADDED,
        "sub/deeper/good 2.stl": Outcome.ADDED,
        "UPPER 3.STL": Outcome.ADDED,
        "no mesh.stl": Outcome.REFUSED,
        "empty.stl": Outcome.REFUSED,
        "notes.txt": Outcome.SKIPPED,
        "README": Outcome.SKIPPED,
        "link 4.stl": Outcome.SKIPPED,
        "round": Outcome.SKIPPED,
        "pipe 5.stl": Outcome.SKIPPED,
    }
    assert told(report, "link 4.stl").what == "is a link"
    assert told(report, "pipe 5.stl").what == "is no plain file"
    assert all(each.what and each.cure for each in report.files if each.outcome is Outcome.REFUSED)
    assert {each.number for each in parts.list_parts(register, "")} == {"good-1", "good-2", "UPPER-3"}
    assert (report.added, report.refused, report.skipped, report.not_reached) == (3, 2, 5, 0)


def test_meshes_of_every_kind_are_taken(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "kinds")
    folder.mkdir()
    # A tetrahedron with legs of 30 mm: a sixth of 27,000 mm³.
    corners = ("0 0 0", "30 0 0", "0 30 0", "0 0 30")
    faces = ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3))
    obj = [f"v {each}" for each in corners] + [f"f {' '.join(str(at + 1) for at in face)}" for face in faces]
    (folder / "K-1 a.obj").write_text("\n".join(obj))
    head = [
        *("ply", "format ascii 1.0", "element vertex 4"),
        *(f"property float {axis}" for axis in "xyz"),
        *("element face 4", "property list uchar int vertex_indices", "end_header"),
    ]
    ply = [*head, *corners, *(f"3 {' '.join(map(str, face))}" for face in faces)]
    (folder / "K-2 b.ply").write_text("\n".join(ply) + "\n")
    report = import_meshes(register, folder, PLA, workers=1)
    assert set(outcomes(report).values()) == {Outcome.ADDED}, report.files
    for number in ("K-1", "K-2"):
        estimate = parts.show_part(register, number).estimates["A"]
        assert isinstance(estimate, PrintedEstimate)
        assert estimate.solid_volume_mm3 == pytest.approx(4500.0)


def test_drawings_are_taken_where_parts_are_routed_and_nowhere_else(register: Register, tmp_path: Path) -> None:
    folder = tmp_path / "drawings"
    folder.mkdir()
    (folder / "GU-1 gusset.dxf").write_bytes((DEMO / "gusset-a.dxf").read_bytes())
    assert outcomes(import_meshes(register, folder, PLA)) == {"GU-1 gusset.dxf": Outcome.SKIPPED}
    routed = MeshImport(Process.ROUTED, "6061", 3.175)
    assert outcomes(import_meshes(register, folder, routed)) == {"GU-1 gusset.dxf": Outcome.ADDED}
    (revision,) = parts.show_part(register, "GU-1").revisions
    assert (revision.process, revision.thickness_mm) == (Process.ROUTED, 3.175)


def test_the_same_content_twice_becomes_one_part_and_the_second_file_says_which(
    register: Register, tmp_path: Path
) -> None:
    folder = folder_of(tmp_path / "twice", **{"A-1_arm": block(20.0), "B-1_copy": block(20.0)})
    report = import_meshes(register, folder, PLA)
    assert outcomes(report) == {"A-1 arm.stl": Outcome.ADDED, "B-1 copy.stl": Outcome.KNOWN}
    assert told(report, "B-1 copy.stl").what == "It is the same as A-1 arm.stl."


def test_two_files_that_claim_one_number_are_both_refused_and_name_each_other(
    register: Register, tmp_path: Path
) -> None:
    folder = folder_of(
        tmp_path / "rivals", **{"A-1_arm": block(20.0), "old__a-1_arm": block(21.0), "B-1_leg": block(22.0)}
    )
    report = import_meshes(register, folder, PLA)
    assert outcomes(report) == {
        "A-1 arm.stl": Outcome.REFUSED,
        "old/a-1 arm.stl": Outcome.REFUSED,
        "B-1 leg.stl": Outcome.ADDED,
    }
    assert told(report, "A-1 arm.stl").what == "It claims part A-1, and so does old/a-1 arm.stl."


def test_a_file_that_the_register_has_is_known_by_its_content_whatever_its_name(
    register: Register, tmp_path: Path
) -> None:
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(), CLAW_A)
    folder = folder_of(tmp_path / "known", **{"CL-1_claw": CLAW_A, "new_name": CLAW_A})
    before = rows(register), operations(register)
    report = import_meshes(register, folder, PLA)
    assert set(outcomes(report).values()) == {Outcome.KNOWN}
    assert told(report, "CL-1 claw.stl").what == ""
    assert told(report, "new name.stl").what == "It is revision A of CL-1."
    assert (rows(register), operations(register)) == before and report.operations == ()


def test_changed_file_is_left_to_a_person_unless_new_revisions_are_asked_for(
    register: Register, tmp_path: Path
) -> None:
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(material="PETG", keep_pose="the teeth need it"), CLAW_A)
    folder = folder_of(tmp_path / "changed", **{"CL-1_another_name": block(30.0)})
    left = import_meshes(register, folder, MeshImport())
    assert outcomes(left) == {"CL-1 another name.stl": Outcome.CHANGED}
    assert left.files[0].what == "It is not the file of revision A of CL-1, which is the newest."
    report = import_meshes(register, folder, MeshImport(new_revisions=" thicker walls "))
    assert (report.added, report.new_revisions) == (0, 1)
    sheet = parts.show_part(register, PART)
    newest = next(each for each in sheet.revisions if each.letter == "B")
    # Material and pose are those of the revision before; the part keeps its name.
    assert (newest.material, newest.keep_pose, newest.changed) == ("PETG", "the teeth need it", "thicker walls")
    assert (newest.interchange, newest.state, sheet.part.name) == (Interchange.NONE, RevisionState.DRAFT, "Claw")
    again = import_meshes(register, folder, MeshImport(new_revisions="thicker walls"))
    assert outcomes(again) == {"CL-1 another name.stl": Outcome.KNOWN}


def test_part_of_another_process_is_left_even_where_new_revisions_are_asked_for(
    register: Register, tmp_path: Path
) -> None:
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(), CLAW_A)
    folder = folder_of(tmp_path / "routed", **{"CL-1_claw": block(30.0)})
    asked = MeshImport(Process.ROUTED, "6061", 3.175, new_revisions="of plate now")
    report = import_meshes(register, folder, asked)
    assert outcomes(report) == {"CL-1 claw.stl": Outcome.CHANGED}
    assert report.files[0].what == "Revision A of CL-1 is printed, not routed."


def test_dry_run_says_what_would_come_of_it_and_writes_nothing(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "dry", **{"A-1_arm": block(20.0), "B-1_bad": b"no mesh"})
    before = rows(register), operations(register), sorted(register.folder.rglob("*"))
    dry = import_meshes(register, folder, replace(PLA, dry_run=True))
    assert (rows(register), operations(register), sorted(register.folder.rglob("*"))) == before
    assert (dry.dry_run, dry.added, dry.refused, dry.operations) == (True, 1, 1, ())
    assert import_meshes(register, folder, PLA).files == dry.files


def test_file_that_takes_too_long_is_refused_and_the_next_import_brings_it(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "slow", **{"A-1_arm": block(20.0)})
    # No process even starts in that time.
    report = import_meshes(register, folder, PLA, longest_s=0.001)
    assert outcomes(report) == {"A-1 arm.stl": Outcome.REFUSED}
    assert report.files[0].what == "It was given up after 0.001 s."
    assert parts.list_parts(register, "") == () and report.operations == ()
    assert import_meshes(register, folder, PLA).added == 1


def test_one_undo_takes_a_whole_batch_back_exactly(register: Register, tmp_path: Path) -> None:
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(), CLAW_A)
    before = rows(register)
    folder = folder_of(
        tmp_path / "batch", **{f"N-{n}_block": block(20.0 + n) for n in range(5)}, **{"CL-1_c": block(9)}
    )
    report = import_meshes(register, folder, replace(PLA, new_revisions="again"))
    assert (report.added, report.new_revisions) == (5, 1)
    (operation,) = report.operations
    assert history.list_operations(register, 1)[0].why == "import batch: 5 added, 1 with a new revision"
    assert rows(register) != before
    history.undo(register, operation)
    assert rows(register) == before
    # And the same folder comes anew.
    assert import_meshes(register, folder, replace(PLA, new_revisions="again")).added == 5
    checking.check_register(register)


def test_a_long_import_is_several_batches_and_each_is_taken_back_alone(
    register: Register, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importing_meshes, "BATCH_FILES", 2)
    folder = folder_of(tmp_path / "long", **{f"N-{n}_block": block(20.0 + n) for n in range(5)})
    before = rows(register)
    report = import_meshes(register, folder, PLA)
    assert (report.added, len(report.operations)) == (5, 3)
    history.undo(register, report.operations[1])
    assert len(parts.list_parts(register, "")) == 3
    for operation in (report.operations[0], report.operations[2]):
        history.undo(register, operation)
    assert rows(register) == before


def test_second_import_of_a_folder_brings_only_what_is_new(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "again", **{"A-1_arm": block(20.0)})
    import_meshes(register, folder, PLA)
    folder_of(folder, **{"B-1_leg": block(21.0)})
    report = import_meshes(register, folder, PLA)
    assert outcomes(report) == {"A-1 arm.stl": Outcome.KNOWN, "B-1 leg.stl": Outcome.ADDED}
    assert report.workers == 1


def stops_after(files: int) -> tuple[Callable[[MeshImportProgress], None], Callable[[], bool]]:
    """Progress and stop of somebody who stops once so many files are estimated."""
    seen = [0]

    def show(progress: MeshImportProgress) -> None:
        if progress.step == "estimating":
            seen[0] = progress.files

    return show, lambda: seen[0] >= files


def test_import_that_is_stopped_keeps_what_was_estimated_and_says_what_was_not_reached(
    register: Register, tmp_path: Path
) -> None:
    folder = folder_of(tmp_path / "stopped", **{f"N-{n}_block": block(20.0 + n) for n in range(6)})
    show, stopped = stops_after(2)
    report = import_meshes(register, folder, PLA, 1, on_progress=show, stopped=stopped)
    assert report.added >= 2 and report.not_reached >= 1 and report.added + report.not_reached == 6
    assert len(parts.list_parts(register, "")) == report.added
    checking.check_register(register)
    rest = import_meshes(register, folder, PLA)
    assert (rest.added, rest.known) == (report.not_reached, report.added)


def test_import_that_is_stopped_while_files_are_read_writes_nothing(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "early", **{"A-1_arm": block(20.0)})
    before = rows(register), operations(register)
    report = import_meshes(register, folder, PLA, stopped=lambda: True)
    assert (report.not_reached, report.workers, report.operations) == (1, 0, ())
    assert (rows(register), operations(register)) == before


def test_progress_counts_every_file_and_byte_of_both_steps(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "told", **{"A-1_arm": block(20.0), "B-1_bad": b"no mesh"})
    seen: list[MeshImportProgress] = []
    import_meshes(register, folder, PLA, on_progress=seen.append)
    # Twelve triangles: 84 bytes and 50 each; the bad file has 7.
    last = {each.step: (each.files, each.of_files, each.bytes, each.of_bytes) for each in seen}
    assert last == {"reading": (2, 2, 691, 691), "estimating": (2, 2, 691, 691)}


def test_somebody_who_takes_the_same_file_meanwhile_is_not_written_over(register: Register, tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "raced", **{"A-1_arm": block(20.0), "B-1_leg": block(21.0), "C-1_toe": block(22.0)})
    colleague = open_register(register.folder, "Odd Feltspat", SetClock())

    def meanwhile(progress: MeshImportProgress) -> None:
        if (progress.step, progress.files) == ("estimating", 0):
            for number in ("A-1", "C-1"):
                parts.add_part(colleague, number, "arm", False)
            logged(colleague, printed("A-1", "arm.stl"), block(20.0))
            logged(colleague, printed("C-1", "toe.stl"), block(30.0))

    report = import_meshes(register, folder, PLA, on_progress=meanwhile)
    assert outcomes(report) == {
        "A-1 arm.stl": Outcome.KNOWN,
        "B-1 leg.stl": Outcome.ADDED,
        "C-1 toe.stl": Outcome.REFUSED,
    }
    assert told(report, "C-1 toe.stl").what == "C-1 got another revision meanwhile."
    assert len(parts.show_part(register, "A-1").revisions) == len(parts.show_part(register, "C-1").revisions) == 1
    checking.check_register(register)


def test_file_that_changes_or_goes_while_it_waits_is_refused(register: Register, tmp_path: Path) -> None:
    folder = folder_of(
        tmp_path / "moving", **{"A-1_big": block(20.0), "B-1_changes": block(21.0), "C-1_goes": block(22.0)}
    )

    def meanwhile(progress: MeshImportProgress) -> None:
        if (progress.step, progress.files) == ("estimating", 0):
            (folder / "B-1 changes.stl").write_bytes(block(31.0))
            (folder / "C-1 goes.stl").unlink()

    report = import_meshes(register, folder, PLA, on_progress=meanwhile)
    assert outcomes(report) == {
        "A-1 big.stl": Outcome.ADDED,
        "B-1 changes.stl": Outcome.REFUSED,
        "C-1 goes.stl": Outcome.REFUSED,
    }
    assert told(report, "B-1 changes.stl").what == "B-1 changes.stl has changed since the import began."
    checking.check_register(register)


def test_names_that_cannot_be_part_numbers_are_refused_and_nothing_hidden_is_kept(
    register: Register, tmp_path: Path
) -> None:
    folder = folder_of(tmp_path / "names", **{"A-1_arm": block(20.0), "x" * 200: block(21.0)})
    for place, name in enumerate(("\x1b[2J-1 red.stl", "\u202egnp-1.stl", "line\nend-1.stl")):
        (folder / name).write_bytes(block(30.0 + place))
    Path(os.fsdecode(os.fsencode(folder) + b"/caf\xe9-1.stl")).write_bytes(block(40.0))
    report = import_meshes(register, folder, PLA)
    assert [each.file for each in report.files if each.outcome is Outcome.ADDED] == ["A-1 arm.stl"]
    assert report.refused == 5
    said = [text for each in report.files for text in (each.what, each.cure)]
    assert all(text.isprintable() for text in said)


def test_empty_folder_brings_nothing_and_what_is_no_folder_is_refused(register: Register, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    report = import_meshes(register, empty, PLA)
    assert (report.files, report.operations, report.workers) == ((), (), 0)
    with pytest.raises(BadFile, match="does not exist"):
        import_meshes(register, tmp_path / "nowhere", PLA)
    (tmp_path / "file.stl").write_bytes(block(20.0))
    with pytest.raises(BadFile, match="is a file"):
        import_meshes(register, tmp_path / "file.stl", PLA)


@pytest.mark.parametrize(
    ("asked", "kind"),
    [
        (MeshImport(), UnknownMaterial),
        (MeshImport(material="cheese"), UnknownMaterial),
        (replace(PLA, machine="Nobody"), NotFound),
        (MeshImport(Process.BOUGHT), NotAllowed),
    ],
    ids=["no material named where there are several", "no such material", "no such machine", "bought"],
)
def test_what_no_file_could_be_made_of_is_refused_before_any_is_estimated(
    register: Register, tmp_path: Path, asked: MeshImport, kind: type[Exception]
) -> None:
    folder = folder_of(tmp_path / "asked", **{"A-1_arm": block(20.0)})
    before = rows(register), operations(register)
    with pytest.raises(kind):
        import_meshes(register, folder, asked)
    assert (rows(register), operations(register)) == before


def test_another_material_than_that_of_the_revision_before_is_said(register: Register, tmp_path: Path) -> None:
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(material="PETG"), CLAW_A)
    folder = folder_of(tmp_path / "changed", **{"CL-1_claw": block(30.0)})
    done = import_meshes(register, folder, MeshImport(material="PLA", new_revisions="lighter"))
    assert done.files[0].outcome is Outcome.REVISED
    assert "It is of PLA, and revision A before it is of PETG." in done.files[0].warnings

"""Logging and releasing revisions: letters, refusals that store nothing, stale preparations, what supersedes what."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from register.actions import jobs, parts, revisions, robots, spares
from register.actions.exchange import export_table
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.revisions import Interchange, RevisionState
from register.domain.table_columns import Subject, TableForm
from register.errors import (
    BadDrawing,
    BadFile,
    BadMesh,
    DoesNotFit,
    NotAllowed,
    NotFound,
    Refused,
    StaleEdit,
    UnknownMaterial,
)
from register.opening import Register
from tests.geometry.stl_bytes import binary, box
from tests.shops import (
    CLAW_A,
    CLAW_B,
    CLAW_C,
    DEMO,
    NOON,
    PART,
    POSITION,
    ROBOT,
    STUDENT,
    files_in,
    logged,
    printed,
    released,
    row_counts,
    set_up_register,
)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    register = set_up_register(tmp_path / "register")
    parts.add_part(register, PART, "Claw", True)
    return register


def demo(name: str) -> bytes:
    return (DEMO / name).read_bytes()


def routed(part: str, file_name: str, material: str = "6061", thickness_mm: float | None = 3.175) -> RevisionRequest:
    return RevisionRequest(part, Process.ROUTED, file_name, material, thickness_mm, unit="mm")


def test_letters_are_given_in_the_order_of_the_standard(register: Register) -> None:
    given = [logged(register, printed(), CLAW_A).letter for _ in range(21)]
    # I, O, Q, S, X and Z are not used; after Y comes AA. Source: ASME Y14.35.
    assert given == [*"ABCDEFGHJKLMNPRTUVWY", "AA"]
    assert [each.letter for each in parts.show_part(register, PART).revisions] == given


def test_logged_revision_keeps_what_was_said_and_who_said_it(register: Register) -> None:
    said = printed(changed="  thicker tip ", interchange_why="same bolts", unit="mm")
    revision = logged(register, said, CLAW_A)
    assert (revision.state, revision.stage.value, revision.material) == (RevisionState.DRAFT, "production", "PLA")
    assert (revision.changed, revision.interchange_why) == ("thicker tip", "same bolts")
    assert (revision.logged_by, revision.logged_at) == (STUDENT, NOON)
    assert (revision.released_by, revision.released_at) == (None, None)
    assert register.files.read(revision.file_sha256 or "") == CLAW_A


def test_reason_to_keep_the_pose_is_kept_with_its_revision_and_goes_out_with_the_table(register: Register) -> None:
    why = "pulled along the layers"
    wanted = replace(printed(), keep_pose=f"  {why} ")
    assert revisions.prepare_revision(register, wanted, CLAW_A).revision.keep_pose == why
    logged(register, wanted, CLAW_A)
    logged(register, printed(), CLAW_B)
    kept = {each.letter: each.keep_pose for each in parts.show_part(register, PART).revisions}
    assert kept == {"A": why, "B": ""}
    (found,) = revisions.identify_file(register, CLAW_A)
    assert found.keep_pose == why
    header, first, second = export_table(register, Subject.REVISIONS, TableForm.CSV).decode("utf-8-sig").splitlines()
    assert [line.rpartition(",")[2] for line in (header, first, second)] == ["keep_pose", why, ""]
    assert [each["keep_pose"] for each in json.loads(export_table(register, Subject.REVISIONS, TableForm.JSON))] == [
        why,
        "",
    ]


@pytest.mark.parametrize("why", ["strong\x1b[2Jway", "x" * 2001, "\u202eright to left"])
def test_reason_to_keep_the_pose_is_checked_as_other_notes_are(register: Register, why: str) -> None:
    with pytest.raises(Refused):
        revisions.prepare_revision(register, replace(printed(), keep_pose=why), CLAW_A)


def test_only_a_printed_part_has_a_pose_to_keep(register: Register) -> None:
    bought = RevisionRequest(PART, Process.BOUGHT, unit_cost_cents=1, lead_days=1, keep_pose="its load")
    for request, content in ((bought, None), (replace(routed(PART, "x.dxf"), keep_pose="its load"), b"")):
        with pytest.raises(NotAllowed, match="has no pose to keep"):
            revisions.prepare_revision(register, request, content)


def test_estimate_that_was_shown_is_the_one_that_is_kept(register: Register) -> None:
    prepared = revisions.prepare_revision(register, printed(), CLAW_A)
    revisions.log_revision(register, prepared, CLAW_A)
    kept = parts.show_part(register, PART).estimates["A"]
    assert kept == prepared.estimate
    parts.add_part(register, "PL-1", "Side plate", False)
    plate = revisions.prepare_revision(register, routed("PL-1", "side-plate-a.dxf"), demo("side-plate-a.dxf"))
    revisions.log_revision(register, plate, demo("side-plate-a.dxf"))
    assert parts.show_part(register, "PL-1").estimates["A"] == plate.estimate
    assert len(plate.estimate.holes) > 0  # type: ignore[union-attr]


def test_first_revision_is_said_to_replace_nothing_whatever_was_asked(register: Register) -> None:
    assert logged(register, printed(interchange=Interchange.BOTH_WAYS), CLAW_A).interchange is Interchange.NONE
    assert logged(register, printed(interchange=Interchange.ONE_WAY), CLAW_B).interchange is Interchange.ONE_WAY


def test_preparing_writes_nothing(register: Register) -> None:
    before = row_counts(register)
    revisions.prepare_revision(register, printed(), CLAW_A)
    assert row_counts(register) == before
    assert files_in(register) == set()


BOUGHT = RevisionRequest(PART, Process.BOUGHT, unit_cost_cents=1250, lead_days=4)
HTML = b"<!DOCTYPE html><html><body>404 not found</body></html>"


@pytest.mark.parametrize(
    ("request_", "content", "refusal"),
    [
        (printed(material="unobtainium"), CLAW_A, UnknownMaterial),
        (printed(material=None), CLAW_A, UnknownMaterial),
        (printed(material="6061"), CLAW_A, UnknownMaterial),
        (printed(), CLAW_A[:-7], BadMesh),
        (printed(), CLAW_A[:300], BadMesh),
        (printed(), HTML, BadMesh),
        (printed(), b"", BadFile),
        (printed(), None, BadFile),
        (printed(), demo("gusset-a.dxf"), BadMesh),
        (printed(), binary(box(400.0, 10.0, 10.0)), DoesNotFit),
        (printed(machine="Albatross"), CLAW_A, NotFound),
        (printed(machine="Heron"), CLAW_A, NotAllowed),
        (printed(part="NO-SUCH"), CLAW_A, NotFound),
        (routed(PART, "plate.dxf"), CLAW_A, BadDrawing),
        (routed(PART, "plate.dxf"), demo("gusset-a.dxf")[:2000], BadDrawing),
        (routed(PART, "plate.dxf"), HTML, BadDrawing),
        (routed(PART, "plate.dxf", material="PLA"), demo("gusset-a.dxf"), UnknownMaterial),
        (BOUGHT, CLAW_A, NotAllowed),
        (replace(BOUGHT, unit_cost_cents=None), None, NotAllowed),
        (replace(BOUGHT, lead_days=None), None, NotAllowed),
        (replace(BOUGHT, lead_days=-1), None, Refused),
        (replace(BOUGHT, unit_cost_cents=-1), None, Refused),
    ],
)
def test_what_is_not_in_order_is_refused_with_a_cure_and_leaves_no_row_and_no_file(
    register: Register, request_: RevisionRequest, content: bytes | None, refusal: type[Exception]
) -> None:
    before = row_counts(register)
    with pytest.raises(refusal) as refused:
        logged(register, request_, content)
    assert refused.value.cure  # type: ignore[attr-defined]
    assert row_counts(register) == before
    assert files_in(register) == set()


def test_bought_revision_needs_a_price_and_a_lead_time_and_no_file(register: Register) -> None:
    revision = logged(register, BOUGHT, None)
    assert (revision.unit_cost_cents, revision.lead_days, revision.file_sha256) == (1250, 4, None)
    assert files_in(register) == set()


def test_preparation_that_another_revision_overtook_is_stale_and_stores_nothing(register: Register) -> None:
    mine = revisions.prepare_revision(register, printed(), CLAW_A)
    logged(register, printed(), CLAW_B)
    counts, files = row_counts(register), files_in(register)
    with pytest.raises(StaleEdit, match="revisions of CL-1 have changed"):
        revisions.log_revision(register, mine, CLAW_A)
    assert row_counts(register) == counts
    assert files_in(register) == files


def test_preparation_is_stale_once_the_revision_before_it_was_released(register: Register) -> None:
    logged(register, printed(), CLAW_A)
    mine = revisions.prepare_revision(register, printed(), CLAW_B)
    revisions.release_revision(register, PART, "A")
    with pytest.raises(StaleEdit):
        revisions.log_revision(register, mine, CLAW_B)
    assert [each.letter for each in parts.show_part(register, PART).revisions] == ["A"]


@pytest.mark.parametrize("content", [CLAW_B, CLAW_A + b"\0", None, b""], ids=["another", "longer", "none", "empty"])
def test_file_that_was_swapped_after_it_was_estimated_is_not_logged(register: Register, content: bytes | None) -> None:
    prepared = revisions.prepare_revision(register, printed(), CLAW_A)
    before = row_counts(register)
    with pytest.raises(StaleEdit, match="has changed since it was estimated"):
        revisions.log_revision(register, prepared, content)
    assert row_counts(register) == before
    assert files_in(register) == set()


def test_same_file_and_lost_interchange_and_earlier_draft_are_said_before_logging(register: Register) -> None:
    logged(register, printed(), CLAW_A)
    doubts = revisions.prepare_revision(register, printed(interchange=Interchange.NONE), CLAW_A).doubts
    assert [each.split(":")[0] for each in doubts] == [
        "said not to be interchangeable with A",
        "the file is the same as that of revision A",
        "revision A before it is still a draft",
    ]
    assert revisions.prepare_revision(register, printed(), CLAW_B).doubts == doubts[2:]


def test_release_supersedes_what_was_released_before_and_signs_it(register: Register) -> None:
    released(register, printed(), CLAW_A)
    second = released(register, printed(), CLAW_B)
    third = logged(register, printed(), CLAW_C)
    assert (second.released_by, second.released_at) == (STUDENT, NOON)
    states = {each.letter: each.state.value for each in parts.show_part(register, PART).revisions}
    assert states == {"A": "superseded", "B": "released", third.letter: "draft"}


@pytest.mark.parametrize("letter", ["A", "a", " A"])
def test_released_revision_is_not_released_again(register: Register, letter: str) -> None:
    released(register, printed(), CLAW_A)
    with pytest.raises(NotAllowed, match="is released already"):
        revisions.release_revision(register, PART, letter)


@pytest.mark.parametrize("letter", ["B", "", "?", "I", "AAAA"])
def test_release_of_a_letter_that_is_not_there_is_not_found(register: Register, letter: str) -> None:
    logged(register, printed(), CLAW_A)
    with pytest.raises(NotFound):
        revisions.release_revision(register, PART, letter)


def test_part_is_found_whatever_the_case_and_added_once(register: Register) -> None:
    assert parts.show_part(register, "cl-1").part.number == "CL-1"
    with pytest.raises(NotAllowed, match="There is a part cl-1 already"):
        parts.add_part(register, "cl-1", "Claw again", False)
    parts.add_part(register, "STRASSE-1", "Ramp 100 %_", False)
    assert parts.show_part(register, "straße-1").part.name == "Ramp 100 %_"


@pytest.mark.parametrize(("find", "found"), [("claw", ["CL-1"]), ("cl-", ["CL-1"]), ("%", ["P-9"]), ("_", []), ("", 2)])
def test_parts_are_found_by_number_or_name_and_no_sign_is_a_wildcard(
    register: Register, find: str, found: list[str] | int
) -> None:
    parts.add_part(register, "P-9", "half 50 % pitch", False)
    listed = [each.number for each in parts.list_parts(register, find)]
    assert listed == found if isinstance(found, list) else len(listed) == found


def test_list_of_parts_warns_of_drafts_missing_revisions_and_missing_spares(register: Register) -> None:
    parts.add_part(register, "P-9", "Bracket", False)
    logged(register, printed(part="P-9"), CLAW_A)
    assert {each.number: each.warnings for each in parts.list_parts(register)} == {
        PART: ("has no revision yet",),
        "P-9": ("revision A is a draft",),
    }
    released(register, printed(), CLAW_A)
    robots.add_robot(register, ROBOT)
    robots.add_position(register, ROBOT, None, POSITION, PART, 2, None)
    spares.add_spares(register, PART, None, 3, "shelf")
    line = next(each for each in parts.list_parts(register) if each.number == PART)
    assert line.warnings[0] == "NO SPARE for Basalt"
    assert line.warnings[1].startswith("3 ")
    assert "unmarked not counted" in line.warnings[1]
    assert (line.on_hand, line.signal, line.revision) == (3, "NO SPARE", "A")


def test_newest_released_revision_is_made_before_a_newer_draft(register: Register) -> None:
    released(register, printed(), CLAW_A)
    logged(register, printed(), CLAW_B)
    assert jobs.add_job(register, PART, None, 1).revision == "A"
    assert jobs.add_job(register, PART, "b", 1).revision == "B"
    revisions.release_revision(register, PART, "B")
    with pytest.raises(NotAllowed, match="Revision A of CL-1 is superseded: do not make it"):
        jobs.add_job(register, PART, "A", 1)


def test_an_older_draft_is_not_released_over_a_newer_revision(register: Register) -> None:
    released(register, printed(), CLAW_A)
    logged(register, printed(), CLAW_B)
    logged(register, printed(), CLAW_C)
    revisions.release_revision(register, PART, "C")
    with pytest.raises(NotAllowed, match="Revision C of CL-1 is newer than B and released"):
        revisions.release_revision(register, PART, "B")

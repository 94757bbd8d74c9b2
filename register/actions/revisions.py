"""Revisions: preparing one, logging it, releasing it, and telling which one a file is."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from register.domain.estimates import BoughtEstimate, EstimateRequest, RoutedEstimate
from register.domain.part_views import PreparedRevision, RevisionRequest
from register.domain.parts import Process
from register.domain.revisions import Interchange, Revision, RevisionState, successor
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import NotAllowed, StaleEdit
from register.estimate import whole
from register.opening import Register
from register.store import parts, shops
from register.store.file_room import Staged


def prepare_revision(register: Register, request: RevisionRequest, content: bytes | None) -> PreparedRevision:
    """Work out a new revision with its estimate and set it against the one before; nothing is written.

    Parameters
    ----------
    request
        What the person said.
    content
        The file's bytes; None for a bought part.

    Raises
    ------
    Refused
        If the file, the material or the size is not fit.
    NotFound
        If there is no such part.
    """
    with register.store.reading() as view:
        part = parts.part(view, request.part)
        history = parts.revisions(view, part.number)
        before = parts.estimate_of(view, part.number, history[-1].letter) if history else None
        settings = shops.settings(view)
    if request.process is Process.BOUGHT and content is not None:
        raise NotAllowed("A bought part takes no file.", "Leave the file out, or say that it is printed or routed.")
    if request.process is not Process.PRINTED and request.keep_pose.strip():
        raise NotAllowed(f"A {request.process.value} part has no pose to keep.", "Leave --keep-pose out.")
    estimate = whole.estimate(content, request.file_name or "", _estimate_request(request), settings)
    revision = Revision(
        part.number,
        successor(history[-1].letter if history else None),
        request.process,
        RevisionState.DRAFT,
        request.stage,
        request.interchange if history else Interchange.NONE,
        None if isinstance(estimate, BoughtEstimate) else estimate.material,
        estimate.thickness_mm if isinstance(estimate, RoutedEstimate) else None,
        _hash(content),
        clean_text(request.file_name, "file name") if request.file_name else None,
        request.unit or "mm",
        request.unit_cost_cents,
        request.lead_days,
        _note(request.changed, "note of what changed"),
        _note(request.interchange_why, "reason"),
        keep_pose=_note(request.keep_pose, "reason to keep the pose"),
    )
    return PreparedRevision(revision, estimate, history[-1] if history else None, before, _doubts(revision, history))


def log_revision(register: Register, prepared: PreparedRevision, content: bytes | None) -> Revision:
    """Write a prepared revision: its file, its row and its estimate, all or nothing.

    Raises
    ------
    StaleEdit
        If the part got another revision meanwhile, or the file is not the one that was prepared.
    """
    wanted = prepared.revision
    if _hash(content) != wanted.file_sha256:
        raise StaleEdit(f"The file of {wanted.part} has changed since it was estimated.", "Log it again.")
    if content is None:
        return _written(register, prepared, None)
    with register.files.staged(content) as staged:
        return _written(register, prepared, staged)


def release_revision(register: Register, part: str, letter: str) -> Revision:
    """Release a draft; what was released before is superseded.

    Raises
    ------
    NotFound
        If there is no such revision.
    NotAllowed
        If it is no draft.
    """
    with register.store.writing(register.who, f"release revision {letter.upper()} of {part}") as tx:
        parts.release(tx, part, letter)
        return parts.revision(tx, part, letter)


def identify_file(register: Register, content: bytes) -> tuple[Revision, ...]:
    """Every revision that stands on exactly this file."""
    with register.store.reading() as view:
        return parts.revisions_of_file(view, hashlib.sha256(content).hexdigest())


def _written(register: Register, prepared: PreparedRevision, staged: Staged | None) -> Revision:
    wanted = prepared.revision
    with register.store.writing(register.who, f"log revision {wanted.letter} of {wanted.part}") as tx:
        standing = parts.revisions(tx, wanted.part)
        if (standing[-1] if standing else None) != prepared.previous:
            raise StaleEdit(
                f"The revisions of {wanted.part} have changed since this one was prepared.", "Look again, then log it."
            )
        if staged is not None:
            register.files.settle(staged)
        parts.add_revision(tx, _signed(wanted, tx.who, tx.at), staged, prepared.estimate)
        return parts.revision(tx, wanted.part, wanted.letter)


def _signed(revision: Revision, who: str, at: datetime) -> Revision:
    return replace(revision, logged_by=who, logged_at=at)


def _estimate_request(request: RevisionRequest) -> EstimateRequest:
    return EstimateRequest(
        request.process,
        request.material,
        request.thickness_mm,
        request.machine,
        request.unit,
        request.unit_cost_cents,
        request.lead_days,
    )


def _hash(content: bytes | None) -> str | None:
    return None if content is None else hashlib.sha256(content).hexdigest()


def _note(text: str, what: str) -> str:
    return clean_text(text, what, NOTE_LENGTH) if text.strip() else ""


def _doubts(revision: Revision, history: Sequence[Revision]) -> tuple[str, ...]:
    said: list[str] = []
    if history and revision.interchange is Interchange.NONE:
        said.append(f"said not to be interchangeable with {history[-1].letter}: its spares will not count for it")
    same = [each.letter for each in history if each.file_sha256 and each.file_sha256 == revision.file_sha256]
    if same:
        said.append(f"the file is the same as that of revision {same[-1]}")
    if history and history[-1].state is RevisionState.DRAFT:
        said.append(f"revision {history[-1].letter} before it is still a draft")
    return tuple(said)

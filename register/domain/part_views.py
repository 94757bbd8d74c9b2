"""Parts as they are shown: a line of the list, and one part whole."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from register.domain.estimates import Estimate
from register.domain.parts import Part, Process
from register.domain.revisions import Interchange, Revision, Stage
from register.domain.robots import Position
from register.domain.spares import OnHand, SpareLine
from register.domain.stock import SpoolAdvice


@dataclass(frozen=True)
class Page:
    """A piece of the list of parts: at most `count` of them, from behind the part number `after`; "" for the first."""

    count: int
    after: str = ""


@dataclass(frozen=True)
class PartLine:
    """A part in the list, with its newest revision. `signal` is None unless it is a wear part."""

    number: str
    name: str
    wear: bool
    revision: str | None
    state: str | None
    process: Process | None
    material: str | None
    on_hand: int
    signal: str | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class PartSheet:
    """One part: revisions oldest first, the estimate of each, where it sits, what is on hand.

    `within` has for each position the assemblies around it, the outermost first; `spools` has for each printed
    revision that may still be made which spool suffices for one piece.
    """

    part: Part
    revisions: tuple[Revision, ...]
    estimates: Mapping[str, Estimate]
    positions: tuple[Position, ...]
    within: tuple[tuple[str, ...], ...]
    on_hand: tuple[OnHand, ...]
    spare: SpareLine | None
    warnings: tuple[str, ...]
    spools: Mapping[str, SpoolAdvice] = field(default_factory=dict)


@dataclass(frozen=True)
class RevisionRequest:
    """What a person says of a new revision; see `Revision` and `EstimateRequest` for the units."""

    part: str
    process: Process
    file_name: str | None = None
    material: str | None = None
    thickness_mm: float | None = None
    machine: str | None = None
    unit: str | None = None
    unit_cost_cents: int | None = None
    lead_days: int | None = None
    stage: Stage = Stage.PRODUCTION
    interchange: Interchange = Interchange.NONE
    interchange_why: str = ""
    changed: str = ""
    keep_pose: str = ""


@dataclass(frozen=True)
class PreparedRevision:
    """A revision worked out but not written, with the one before it and both estimates, and what gives doubt."""

    revision: Revision
    estimate: Estimate
    previous: Revision | None
    previous_estimate: Estimate | None
    doubts: tuple[str, ...]

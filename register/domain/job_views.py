"""Jobs as they are shown: with the estimate, the cautions and what was booked."""

from dataclasses import dataclass

from register.domain.estimates import Estimate
from register.domain.hazards import Hazard
from register.domain.jobs import Job
from register.domain.revisions import Revision
from register.domain.stock import SpoolAdvice


@dataclass(frozen=True)
class JobSheet:
    """A job with all that its paper says; the estimate is of one piece, `spools` of what a print still takes."""

    job: Job
    part_name: str
    revision: Revision
    estimate: Estimate
    cautions: tuple[Hazard, ...]
    spools: SpoolAdvice | None = None


@dataclass(frozen=True)
class Booked:
    """What a job used of a lot, in g or pieces, and what is left there."""

    lot: str
    amount: float
    unit: str
    left: float

"""From the shop's jobs, machines, hours and stock to the problem that a plan is made from."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from register.domain.estimates import BoughtEstimate, PrintedEstimate
from register.domain.jobs import Job, JobState
from register.domain.machines import Machine
from register.domain.plans import JobWork, MachineChoice, MachineLoads, PlanJob, PlanProblem, Supply
from register.domain.shop import ShopSettings
from register.domain.stock import Lot, StockForm
from register.plan.dispatch import make_plan
from register.plan.hours import attended_windows
from register.plan.machine_days import machine_day

# Long enough for the slowest queue of a season; a job that does not fit is said to be unplaced.
HORIZON_DAYS = 120
_DAY_S = 86400.0


def plan_problem(as_of: datetime, settings: ShopSettings, works: Sequence[JobWork], lots: Sequence[Lot]) -> PlanProblem:
    """The problem of one moment.

    Parameters
    ----------
    as_of
        Aware; nothing is planned before it.
    works
        Every open job.
    lots
        The stock.
    """
    by_name = {machine.name: machine for machine in settings.machines}
    windows = attended_windows(settings.shop, as_of, HORIZON_DAYS)
    spans_s = sorted({(each.closes - each.opens).total_seconds() for each in windows})
    return PlanProblem(
        as_of,
        windows,
        tuple(machine_day(machine) for machine in settings.machines),
        tuple(_plan_job(work, settings, by_name, spans_s) for work in works),
        _supplies(as_of, lots),
        settings.shop.zone,
    )


def stock_key(material: str, thickness_mm: float | None) -> str:
    """What a need and a supply are matched by: "PLA", "6061 3.175 mm"."""
    return material if thickness_mm is None else f"{material} {thickness_mm:g} mm"


def load_s(work: JobWork, loads: MachineLoads, settings: ShopSettings, machine: Machine) -> tuple[float, ...]:
    """Running time of each load, s; a printer heats once a load, and a powder printer cools, whatever is on it."""
    estimate = work.estimate
    if isinstance(estimate, BoughtEstimate):
        return ()
    heating_s = 0.0
    if isinstance(estimate, PrintedEstimate) and estimate.powder is not None:
        return tuple(map(estimate.powder.load_s, loads.pieces))
    if isinstance(estimate, PrintedEstimate):
        material = next((each.print_overrides for each in settings.materials if each.name == estimate.material), {})
        heating_s = settings.shop.print_settings.overridden(machine.print_overrides, material).heating_s
        heating_s = min(heating_s, estimate.duration_s)
    return tuple(heating_s + pieces * (estimate.duration_s - heating_s) for pieces in loads.pieces)


def ways_by_hours(
    work: JobWork, loads: MachineLoads, settings: ShopSettings, machine: Machine, spans_s: Sequence[float]
) -> tuple[MachineLoads, ...]:
    """The ways of loading a machine that the planner may choose from: full beds, and loads that the hours can hold.

    Parameters
    ----------
    loads
        Full beds.
    spans_s
        Lengths of the attended spans that there are, s. On a machine that may run unattended they do not count.
    """
    day = machine_day(machine)
    one_s, two_s = load_s(work, MachineLoads(machine.name, (1, 2)), settings, machine) or (0.0, 0.0)
    piece_s = two_s - one_s
    if day.unattended or not loads.pieces or piece_s <= 0:
        return (loads,)
    ways = {loads.pieces: loads}
    for span_s in spans_s:
        # A second to spare, since a load is rounded up to whole seconds.
        most = int((span_s - machine.set_up_s - machine.unload_s - (one_s - piece_s) - 1.0) // piece_s)
        if 1 <= most < max(loads.pieces):
            full, rest = divmod(sum(loads.pieces), most)
            pieces = (most,) * full + ((rest,) if rest else ())
            ways.setdefault(pieces, MachineLoads(machine.name, pieces))
    return tuple(ways.values())


def _plan_job(work: JobWork, settings: ShopSettings, by_name: dict[str, Machine], spans_s: Sequence[float]) -> PlanJob:
    job = work.job
    choices = tuple(
        MachineChoice(each.machine, load_s(work, each, settings, by_name[each.machine]))
        for loads in work.loads
        for each in ways_by_hours(work, loads, settings, by_name[loads.machine], spans_s)
    )
    ordered_s = work.estimate.lead_days * _DAY_S if isinstance(work.estimate, BoughtEstimate) else None
    running = job.state is JobState.RUNNING and job.started_at is not None
    until = None
    if running and job.started_at is not None:
        own = next((choice for choice in choices if choice.machine == job.machine), None)
        until = _ends(job, own, settings, by_name) if own else job.started_at + timedelta(seconds=ordered_s or 0.0)
    return PlanJob(
        job.number,
        job.part,
        job.revision,
        job.due,
        job.weight,
        choices,
        work.needs,
        ordered_s=ordered_s,
        cannot=work.cannot,
        running_on=job.machine if running else None,
        running_since=job.started_at if running else None,
        running_until=until,
    )


def _ends(job: Job, own: MachineChoice, settings: ShopSettings, by_name: dict[str, Machine]) -> datetime:
    """When a job on its machine is through: one load runs on; several wait for hands in between and are planned."""
    started = job.started_at or datetime.min.replace(tzinfo=UTC)
    plain = started + timedelta(seconds=sum(own.loads_s))
    if len(own.loads_s) <= 1:
        return plain
    alone = PlanProblem(
        started,
        attended_windows(settings.shop, started, HORIZON_DAYS),
        (machine_day(by_name[own.machine]),),
        (PlanJob(job.number, job.part, job.revision, None, job.weight, (own,)),),
    )
    placed = make_plan(alone).jobs
    return placed[0].end if placed else plain


def _supplies(as_of: datetime, lots: Sequence[Lot]) -> tuple[Supply, ...]:
    """Spools and whole sheets, by material; offcuts are given to jobs one by one beforehand."""
    on_hand: dict[str, float] = {}
    arrivals: dict[str, list[tuple[datetime, float]]] = {}
    for lot in lots:
        if lot.form is StockForm.OFFCUT or lot.amount <= 0:
            continue
        key = stock_key(lot.material, lot.thickness_mm if lot.form is StockForm.SHEET else None)
        on_hand.setdefault(key, 0.0)
        if lot.arrives is None or lot.arrives <= as_of:
            on_hand[key] += lot.amount
        else:
            arrivals.setdefault(key, []).append((lot.arrives, lot.amount))
    return tuple(Supply(key, amount, tuple(sorted(arrivals.get(key, ())))) for key, amount in sorted(on_hand.items()))

"""One load on one machine against every second tried in turn."""

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.plans import MachineDay, Window
from register.plan.lanes import AttendedHours, Lane, SecondScale

AS_OF = datetime(2031, 3, 3, 9, tzinfo=UTC)
END = 60


@st.composite
def spans(draw: st.DrawFn) -> tuple[tuple[int, int], ...]:
    """Spans of whole seconds, ascending and apart."""
    edges = sorted(draw(st.sets(st.integers(0, END), max_size=8)))
    return tuple(zip(edges[::2], edges[1::2], strict=False))


def lane_of(machine: MachineDay, hours: tuple[tuple[int, int], ...]) -> Lane:
    windows = [Window(AS_OF + timedelta(seconds=a), AS_OF + timedelta(seconds=b)) for a, b in hours]
    return Lane(machine, AttendedHours.of(windows, SecondScale(AS_OF)))


def every_second_tried(
    machine: MachineDay, hours: tuple[tuple[int, int], ...], run_s: int, ready: int
) -> tuple[int, int, int, int] | None:
    """The first second at which a load may be set up by the rules of the shop, and what follows from it."""
    there = [any(a <= second < b for a, b in hours) for second in range(4 * END)]
    set_up_s, unload_s = int(machine.set_up_s), int(machine.unload_s)
    for begin in range(ready, END):
        run = begin + set_up_s
        end = run + run_s
        if not all(there[begin : run + 1]):
            continue
        if not machine.unattended:
            if all(there[begin : end + unload_s]):
                return begin, run, end, end + unload_s
            continue
        alone = longest = 0
        for second in range(run, end):
            alone = 0 if there[second] else alone + 1
            longest = max(longest, alone)
        if machine.longest_unattended_s is not None and longest > machine.longest_unattended_s:
            continue
        for unload in range(end, 2 * END):
            if all(there[unload : unload + unload_s]) and (unload_s or there[unload] or there[unload - 1]):
                return begin, run, end, unload + unload_s
        return None
    return None


@settings(max_examples=400, deadline=None)
@given(
    hours=spans(),
    unattended=st.booleans(),
    limit=st.none() | st.integers(0, 12),
    hands=st.tuples(st.integers(0, 4), st.integers(0, 4)),
    run_s=st.integers(1, 25),
    ready=st.integers(0, END),
)
def test_a_load_stands_where_trying_every_second_puts_it(
    hours: tuple[tuple[int, int], ...],
    unattended: bool,
    limit: int | None,
    hands: tuple[int, int],
    run_s: int,
    ready: int,
) -> None:
    machine = MachineDay("P-1", unattended, limit, *hands)
    found = lane_of(machine, hours).series([run_s], ready)
    assert (found[0] if found else None) == every_second_tried(machine, hours, run_s, ready)


def test_a_router_stays_within_hours_even_with_a_permission_recorded() -> None:
    machine = MachineDay("R-1", unattended=True, router=True)
    lane = lane_of(machine, ((0, 10), (20, 40)))
    # 12 s do not fit into the 10 s of the first span.
    assert lane.series([12], 0) == ((20, 20, 32, 32),)


def test_a_run_may_stay_alone_up_to_its_limit_and_not_a_second_longer() -> None:
    hours = ((0, 10), (20, 40))
    # Started at 0, a run of 18 s is alone from 10 to 18: 8 s. It is unloaded when the shop opens.
    assert lane_of(MachineDay("P-1", True, 8), hours).series([18], 0) == ((0, 0, 18, 20),)
    assert lane_of(MachineDay("P-1", True, 7), hours).series([18], 0) == ((20, 20, 38, 38),)


def test_each_stretch_alone_counts_for_itself() -> None:
    # Alone from 10 to 15 and from 20 to 24: 5 s and 4 s at a stretch, 9 s in all.
    hours = ((0, 10), (15, 20), (25, 40))
    assert lane_of(MachineDay("P-1", True, 5), hours).series([24], 0) == ((0, 0, 24, 25),)
    assert lane_of(MachineDay("P-1", True, 4), hours).series([24], 0) is None


def test_a_short_series_goes_into_a_gap_and_a_long_one_behind_it() -> None:
    lane = lane_of(MachineDay("P-1", True), ((0, 60),))
    lane.take(10, 20, "A-1", 0)
    assert lane.earliest([10], 0) == ((0, 0, 10, 10),)
    assert lane.earliest([6, 5], 0) == ((20, 20, 26, 26), (26, 26, 31, 31))


def test_moments_between_seconds_never_widen_the_hours() -> None:
    half = timedelta(milliseconds=500)
    scale = SecondScale(AS_OF)
    hours = AttendedHours.of([Window(AS_OF + half, AS_OF + timedelta(seconds=9) + half)], scale)
    assert (hours.opens, hours.closes) == ((1,), (9,))
    assert scale.up(AS_OF - half) == 0
    assert scale.down(AS_OF - half) == -1

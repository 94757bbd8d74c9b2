"""Unattended runs are off until a responsible adult's leave and its conditions are recorded; a router never."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from register.domain.machines import Machine, UnattendedPermission, allow_unattended
from register.domain.parts import Process
from register.errors import NotAllowed
from register.plan.machine_days import machine_day

LEAVE = UnattendedPermission("the invented adult", datetime(2031, 3, 1, tzinfo=UTC), "smoke alarm on, door shut", 12.0)
PRINTER = Machine("P-1", Process.PRINTED, (250.0, 210.0, 200.0), set_up_s=420.0, unload_s=180.0)
ROUTER = Machine("R-1", Process.ROUTED, (600.0, 400.0, 80.0))


def test_without_leave_a_printer_is_attended() -> None:
    day = machine_day(PRINTER)
    assert (day.unattended, day.router, day.set_up_s, day.unload_s) == (False, False, 420.0, 180.0)


def test_with_leave_a_printer_may_run_alone_for_as_long_as_the_leave_says() -> None:
    day = machine_day(allow_unattended(PRINTER, LEAVE))
    assert (day.unattended, day.longest_unattended_s) == (True, 12 * 3600.0)
    assert machine_day(replace(PRINTER, permission=replace(LEAVE, longest_h=float("inf")))).longest_unattended_s is None


def test_leave_for_a_router_is_refused_and_would_not_count() -> None:
    with pytest.raises(NotAllowed, match="R-1 is a router"):
        allow_unattended(ROUTER, LEAVE)
    day = machine_day(replace(ROUTER, permission=LEAVE))
    assert (day.unattended, day.router, day.longest_unattended_s) == (False, True, None)


@pytest.mark.parametrize(
    "gap", [{"conditions": " "}, {"given_by": ""}, {"longest_h": 0.0}, {"longest_h": float("nan")}], ids=str
)
def test_leave_with_a_gap_is_refused_and_would_not_count(gap: dict[str, object]) -> None:
    leave = replace(LEAVE, **gap)  # type: ignore[arg-type]
    with pytest.raises(NotAllowed, match="P-1 leaves out"):
        allow_unattended(PRINTER, leave)
    assert not machine_day(replace(PRINTER, permission=leave)).unattended


def test_what_is_on_a_machine_and_whether_it_works_are_passed_on() -> None:
    until = datetime(2031, 3, 3, 9, tzinfo=UTC)
    day = machine_day(replace(PRINTER, out_of_order=True), until)
    assert (day.busy_until, day.out_of_order) == (until, True)

"""A machine of the register as the planner sees it."""

import math
from datetime import datetime

from register.domain.machines import Machine
from register.domain.parts import Process
from register.domain.plans import MachineDay


def machine_day(machine: Machine, busy_until: datetime | None = None) -> MachineDay:
    """`machine` for the planner.

    Parameters
    ----------
    busy_until
        When what is on it now ends at the earliest; None if it is empty.

    Notes
    -----
    It may run unattended only with a permission that says who gave it, its conditions and its longest run; a router
    never, whatever is recorded.
    """
    leave = machine.permission
    router = machine.process is not Process.PRINTED
    whole = leave is not None and bool(leave.given_by.strip() and leave.conditions.strip() and leave.longest_h > 0)
    longest_s = leave.longest_h * 3600 if leave is not None and math.isfinite(leave.longest_h) else None
    return MachineDay(
        name=machine.name,
        unattended=whole and not router,
        longest_unattended_s=longest_s if whole and not router else None,
        set_up_s=machine.set_up_s,
        unload_s=machine.unload_s,
        out_of_order=machine.out_of_order,
        busy_until=busy_until,
        router=router,
    )

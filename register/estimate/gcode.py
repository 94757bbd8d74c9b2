"""How long a machine program takes (ISO 6983, RS-274): every move of it through the planner of motion.

What changes the path in ways that are not followed is said in the warnings; what makes it depend on the machine's own
memory is refused.
"""

import hashlib
import math
import re

from register.domain.estimates import ProgramEstimate
from register.domain.machines import Machine, PrintSettings, RouterLimits
from register.domain.parts import Process
from register.domain.shop import ShopSettings
from register.domain.texts import shown
from register.errors import BadFile, NotAllowed, NotFound
from register.estimate.gcode_blocks import Blocks
from register.estimate.gcode_machine import RunningProgram

# An estimate without actuals behind it: about 80 % of runs fall within these shares. Source: common practice.
RANGE = 1.25
LONGEST_S = 365 * 86_400.0
_EXTRUDES = re.compile(rb"^[ \t]*(?:N\d++)?[ \t]*G[01][ \t][^;(\n]*?[ \t]E[-+.\d]", re.MULTILINE | re.IGNORECASE)


def prints(content: bytes) -> bool:
    """Whether a program moves filament."""
    return _EXTRUDES.search(content) is not None


def machine_for(content: bytes, settings: ShopSettings, named: str | None = None) -> Machine:
    """The machine of a program: the one named, else the shop's first printer or router, as the program needs.

    Raises
    ------
    NotFound
        If the shop has none of that name.
    NotAllowed
        If it has none that could run it; a powder printer runs none.
    """
    if named is not None:
        for machine in settings.machines:
            if machine.name.casefold() == named.strip().casefold():
                if machine.powder is not None:
                    raise NotAllowed(f"{machine.name} prints powder and runs no such program.", "Name another machine.")
                return machine
        known = ", ".join(machine.name for machine in settings.machines) or "none yet"
        raise NotFound(f"There is no machine {named!r}.", f"The shop has: {known}.")
    process = Process.PRINTED if prints(content) else Process.ROUTED
    for machine in settings.machines:
        if machine.process is process and machine.powder is None:
            return machine
    raise NotAllowed(
        f"The shop has no machine for a {process.value} part.", "Name another machine, or add one in shop.toml."
    )


def estimate_program(content: bytes, name: str, machine: Machine, settings: PrintSettings) -> ProgramEstimate:
    """What a program takes on a machine.

    Parameters
    ----------
    content
        The whole file.
    machine
        Its limits are used; those of a printer stand in `settings`, with its own overrides.

    Raises
    ------
    BadFile
        If it is no such program, or one whose moves cannot be known from it alone.

    Notes
    -----
    The way from where the machine stands before the program is taken as the way from the origin.
    Source: NISTIR 6556, The NIST RS274/NGC Interpreter, version 3 (from memory).
    """
    name = shown(name)
    blocks = Blocks(content, name)
    program = RunningProgram(name, _limits(machine, settings), machine.process is Process.PRINTED)
    for block in blocks:
        program.run(block)
        if program.ended:
            break
    if not program.cut_mm and not program.rapid_mm:
        raise BadFile(f"{name} moves nothing.", "Give a program with moves.")
    duration = program.paths.duration_s()
    if duration > LONGEST_S:
        raise BadFile(f"{name} would run for more than a year.", "Check its feeds.")
    notes = blocks.notes + program.notes
    return ProgramEstimate(
        process="program",
        sha256=hashlib.sha256(content).hexdigest(),
        machine=machine.name,
        blocks=blocks.count,
        duration_s=duration,
        duration_low_s=duration / RANGE,
        duration_high_s=duration * RANGE,
        cut_length_mm=program.cut_mm,
        rapid_length_mm=program.rapid_mm,
        dwell_s=program.dwell_s,
        tool_changes=program.tool_changes,
        warnings=tuple(f"{said[0].upper()}{said[1:]} ({count})." for said, count in sorted(notes.items())),
    )


def _limits(machine: Machine, settings: PrintSettings) -> RouterLimits:
    """A router's own limits; for a printer the few of them that its programs meet."""
    if machine.process is Process.ROUTED:
        return machine.router or RouterLimits()
    own = settings.overridden(machine.print_overrides)
    return RouterLimits(
        feed_limit_mm_s=math.inf,
        rapid_mm_s=own.travel_speed_mm_s,
        acceleration_mm_s2=own.acceleration_mm_s2,
        junction_deviation_mm=own.junction_deviation_mm,
        spin_up_s=0.0,
    )

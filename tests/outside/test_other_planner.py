"""Times of machine programs against another planner of motion, pyGCodeDecode 1.5.1."""

from dataclasses import replace

import pytest

from register.domain.machines import Machine, PrintSettings
from register.domain.parts import Process
from register.estimate.gcode import estimate_program
from tests.outside.machine_programs import Program, programs
from tests.outside.other_environment import PYTHON_VARIABLE, python_with, simulated_s

PRINTER = Machine("Wren", Process.PRINTED, (500.0, 500.0, 500.0))
PROGRAMS = programs()
# Seconds. Source: pyGCodeDecode 1.5.1 on the programs of machine_programs.py, by simulate_programs.py; the second test
# runs it again where it is installed.
SIMULATED_S = {
    "squares, one within another": 69.5271,
    "a hatch to and fro": 26.6121,
    "a hatch with a slow machine": 19.6265,
    "a spiral in chords": 26.1880,
    "circles in chords": 12.5259,
    "stars": 10.2911,
    "there and back": 31.1058,
    "long lines": 68.3034,
    "a random walk": 90.7371,
    "a random walk of short steps": 21.2492,
    "a random walk in space": 62.3662,
    "a random walk with mixed feeds": 119.5753,
    "a random walk of a stopping machine": 28.5815,
    "relative steps": 36.8792,
    "waits on the way": 41.5595,
    "a small print": 246.4209,
}


def estimated_s(program: Program) -> float:
    own = replace(
        PrintSettings(),
        acceleration_mm_s2=program.acceleration_mm_s2,
        junction_deviation_mm=program.junction_deviation_mm,
    )
    return estimate_program(program.text.encode(), "part.gcode", PRINTER, own).duration_s


@pytest.mark.parametrize("name", SIMULATED_S)
def test_a_program_takes_what_the_other_planner_says(name: str) -> None:
    assert estimated_s(PROGRAMS[name]) == pytest.approx(SIMULATED_S[name], rel=1e-3)


@pytest.mark.parametrize("name", [name for name in SIMULATED_S if PROGRAMS[name].junction_deviation_mm])
def test_a_machine_that_stops_at_every_corner_would_be_told_from_it(name: str) -> None:
    # So that a thousandth is a bound that means something for each of these programs.
    assert estimated_s(replace(PROGRAMS[name], junction_deviation_mm=0.0)) > 1.004 * SIMULATED_S[name]


def test_the_other_planner_still_says_what_is_written_here() -> None:
    python = python_with("pyGCodeDecode")
    if python is None:
        pytest.skip(f"pyGCodeDecode is not installed where ${PYTHON_VARIABLE} says; see DEVELOPERS.md")
    found = {name: answer["duration_s"] for name, answer in simulated_s(python, PROGRAMS).items()}
    assert found == pytest.approx(SIMULATED_S, rel=1e-5)

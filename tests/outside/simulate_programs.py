"""The time of machine programs by pyGCodeDecode: a folder of programs in, JSON out.

PYTHON tests/outside/simulate_programs.py FOLDER

PYTHON is an environment with pyGCodeDecode, never the project's own: its wheel brings a package `tests`. FOLDER holds
`machines.json`, which gives for each program's file the acceleration (mm/s²) and the junction deviation (mm).
"""

import json
import math
import sys
import time
from pathlib import Path

from pyGCodeDecode.gcode_interpreter import setup, simulation

# The preset states a speed at a right angle, q: its rule is δ = 0.414·q²/a.
RIGHT_ANGLE = 0.414
# It asks for limits of the axes and does not use them.
UNUSED = 1e6


def simulated(program: Path, acceleration_mm_s2: float, junction_deviation_mm: float) -> dict[str, float]:
    """Duration of one program and the CPU time that it took to find it, in seconds."""
    at_right_angle = math.sqrt(junction_deviation_mm * acceleration_mm_s2 / RIGHT_ANGLE)
    preset = {f"v{axis}": UNUSED for axis in "XYZE"}
    preset |= {"p_vel": 50.0, "p_acc": acceleration_mm_s2, "jerk": at_right_angle, "firmware": "junction_deviation"}
    presets = program.with_suffix(".yaml")
    presets.write_text(json.dumps({"machine": preset}), "utf-8")  # JSON is YAML too
    began = time.process_time()
    machine = setup(presets, printer="machine", verbosity_level=0)
    run = simulation(program, initial_machine_setup=machine, verbosity_level=0)
    duration = run.blocklist[-1].get_segments()[-1].t_end
    return {"duration_s": float(duration), "cpu_s": time.process_time() - began}


def main() -> None:
    """Print `{file name: {duration_s, cpu_s}}`."""
    folder = Path(sys.argv[1])
    machines = json.loads((folder / "machines.json").read_text("utf-8"))
    print(json.dumps({name: simulated(folder / name, *figures) for name, figures in machines.items()}))


if __name__ == "__main__":
    main()

"""Poses: how long a look at them takes, beside one estimate in the same run, and what it finds.

python tests/benchmarks/poses.py [--fine 1000000] [--json]

CPU of this process. `estimate` is the default estimate of the same mesh as drawn; `look` the search for the best poses
from the shape alone, `beside` what a plain estimate does more for its sentence of advice, `table` all that `--poses`
does. `quickest` sets the quickest pose of the table against the quickest of every pose there is: each way up that the
hull and the axes offer, estimated with the same settings, as long as it stands.
"""

import argparse
import json
import math
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TypeVar

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

import manifold3d
import numpy as np

from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import RegisterError
from register.estimate.poses import advised_poses, quick_saving
from register.estimate.printed import estimate_printed
from register.geometry.columns import support_space_mm3
from register.geometry.facets import outer_points
from register.geometry.meshes import Mesh, read_mesh
from register.geometry.orientation import poses, ways_up
from register.geometry.turning import named_pose, turned_mesh
from tests.geometry.stl_bytes import Triangles, binary, box, cone, cylinder, extruded, moved, sphere

Result = TypeVar("Result")

PLA = Material("PLA", Form.FILAMENT, 1.24, "data sheet")
PRINTER = Machine("Lark", Process.PRINTED, (400.0, 400.0, 400.0))
SETTINGS = PrintSettings(support_angle_deg=45.0)
# Every way up of a mesh of more triangles than this is not estimated.
SEARCHED = 5_000
LUMPS = 16
DEMO_PARTS = Path(__file__).parents[2] / "demo_parts"


@dataclass(frozen=True)
class Line:
    """One shape: CPU seconds, and minutes of printing."""

    shape: str
    triangles: int
    estimate_s: float
    look_s: float
    beside_s: float
    table_s: float
    poses: int
    drawn_min: float
    found_min: float
    quickest_min: float | None


def shapes(fine: int) -> Iterator[tuple[str, bytes]]:
    """Parts of the demo, shapes by formula, and meshes of many triangles."""
    for path in sorted(DEMO_PARTS.glob("*.stl")):
        yield path.stem, path.read_bytes()
    bracket = extruded([[(20, 0), (30, 0), (30, 30), (50, 30), (50, 35), (0, 35), (0, 30), (20, 30)]], 60.0)
    upright = np.stack([bracket[..., 0], -bracket[..., 2], bracket[..., 1]], axis=-1)
    legs = [moved(box(5, 5, 40), x, y) for x in (0.0, 95.0) for y in (0.0, 55.0)]
    named: dict[str, Triangles] = {
        "T bracket": upright,
        "table": np.concatenate([*legs, moved(box(100, 60, 5), 0.0, 0.0, 40.0)]),
        "cone on its tip": cone(40.0, 20.0) * np.array([1.0, -1.0, -1.0]),
        "tower": box(10, 10, 200),
        "ball of 10,000 triangles": sphere(20.0, 102),
        "ball of 100,000 triangles": sphere(20.0, 318),
        f"ball of {fine:,} triangles": sphere(20.0, round(math.sqrt(fine)) // 2 * 2),
        "cylinder of 100,000 facets": cylinder(20.0, 200.0, 50_000),
    }
    for number in range(LUMPS):
        named[f"lump {number + 1}"] = lump(np.random.default_rng(number))
    for name, solid in named.items():
        yield name, binary(solid)


def lump(chance: np.random.Generator) -> Triangles:
    """Seven boxes, each turned in its own way, made one body."""
    blocks = [
        manifold3d.Manifold.cube(chance.uniform(8.0, 50.0, 3), True)
        .rotate(chance.choice([0.0, 0.0, 30.0, 45.0, 90.0], 3))
        .translate(chance.uniform(-22.0, 22.0, 3))
        for _ in range(7)
    ]
    mesh = manifold3d.Manifold.batch_boolean(blocks, manifold3d.OpType.Add).to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts)]


def timed(work: Callable[[], Result]) -> tuple[Result, float]:
    """A result and the CPU seconds it took."""
    began = time.process_time()
    result = work()
    return result, time.process_time() - began


def quickest_min(mesh: Mesh) -> float:
    """Minutes of the quickest print of all ways up, those that the look would leave out for not standing aside."""
    hull = outer_points(mesh.triangles_mm)
    steady = {each.name for each in poses(mesh.triangles_mm, SETTINGS, 10_000) if each.stands}
    best = math.inf
    for up in ways_up(hull):
        name, rotation = named_pose(up, hull)
        if name in steady:
            made = estimate_printed(turned_mesh(mesh, rotation), PLA, PRINTER, SETTINGS)
            best = min(best, made.duration_s / 60.0)
    return best


def measured(shape: str, content: bytes) -> Line:
    """All figures of one shape."""
    mesh = read_mesh(content, shape)
    drawn, estimate_s = timed(lambda: estimate_printed(mesh, PLA, PRINTER, SETTINGS))
    _, look_s = timed(lambda: poses(mesh.triangles_mm, SETTINGS))
    _, beside_s = timed(lambda: quick_saving(mesh, drawn, PLA, PRINTER, SETTINGS))
    advice, table_s = timed(lambda: advised_poses(mesh, PLA, (PRINTER,), SETTINGS))
    times = [each.duration_s for each in advice.poses if each.duration_s is not None and each.stands]
    return Line(
        shape,
        len(mesh.triangles_mm),
        estimate_s,
        look_s,
        beside_s,
        table_s,
        len(advice.poses),
        drawn.duration_s / 60.0,
        min(times, default=drawn.duration_s) / 60.0,
        quickest_min(mesh) if len(mesh.triangles_mm) <= SEARCHED else None,
    )


def ball_error() -> float:
    """How far support under a ball at 45° is from the closed form, as a share.

    Source: volume of revolution, R³[π/2 − (2π/3)(1 − 2^−1.5)].
    """
    exact = 20.0**3 * (math.pi / 2.0 - 2.0 * math.pi / 3.0 * (1.0 - 2.0**-1.5))
    return support_space_mm3(sphere(20.0, 192), 45.0, 0.0) / exact - 1.0


def main() -> int:
    """Measure and print."""
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--fine", type=int, default=1_000_000, help="triangles of the finest ball")
    reader.add_argument("--json", action="store_true", help="print JSON")
    asked = reader.parse_args()
    measured("warm up", binary(box(10, 10, 10)))
    lines = []
    for shape, content in shapes(asked.fine):
        try:
            lines.append(measured(shape, content))
        except RegisterError as error:
            print(f"{shape}: {error}", file=sys.stderr)
    if asked.json:
        print(json.dumps({"ball_error_share": ball_error(), "lines": [asdict(each) for each in lines]}))
        return 0
    print(f"support under a ball at 45°: {100 * ball_error():+.2f} % of the closed form (limit 3 %)")
    print(f"{'shape':28}{'triangles':>10}{'estimate':>9}{'look':>7}{'beside':>8}{'table':>7}{'poses':>6}", end="")
    print(f"{'drawn':>9}{'found':>9}{'quickest':>10}")
    for each in lines:
        quickest = "" if each.quickest_min is None else f"{each.quickest_min:.1f}"
        print(
            f"{each.shape:28}{each.triangles:>10}{each.estimate_s:>9.3f}{each.look_s:>7.3f}{each.beside_s:>8.3f}"
            f"{each.table_s:>7.2f}{each.poses:>6}{each.drawn_min:>9.1f}{each.found_min:>9.1f}{quickest:>10}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())

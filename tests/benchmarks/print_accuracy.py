"""How near the fast estimate of a print comes to drawing and planning every line, over varied parts and settings.

python tests/benchmarks/print_accuracy.py [--parts gear,cone] [--chance 20] [--settings default,dense] [--json]

Each part is estimated in both forms in the same run: parts made here, parts of the demo, and parts by chance, which no
figure of the fast form was chosen by. The limits hold for each group of settings but the last: duration (without
heating) median 2 %, worst 6 %; volume of filament median 1 %, worst 3 %. Ends with 1 if one is broken.
"""

import argparse
import json
import math
import random
import statistics
import struct
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import manifold3d
import numpy as np

from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.estimate.printed import estimate_printed
from register.geometry.meshes import Mesh, read_mesh

ROOT = Path(__file__).parents[2]
Solid = manifold3d.Manifold
Outline = manifold3d.CrossSection

FILAMENT = Material("filament", Form.FILAMENT, 1.24, "invented")
PRINTER = Machine("printer", Process.PRINTED, (400.0, 400.0, 400.0))
DEFAULT = PrintSettings()
SETTINGS = {
    "default": DEFAULT,
    "coarse": replace(DEFAULT, line_width_mm=0.4, layer_height_mm=0.3, first_layer_height_mm=0.3),
    "dense": replace(DEFAULT, infill_share=0.4),
    "supported": replace(DEFAULT, support_angle_deg=45.0),
    "brisk": replace(
        DEFAULT,
        acceleration_mm_s2=6000.0,
        contour_speed_mm_s=120.0,
        solid_speed_mm_s=150.0,
        infill_speed_mm_s=200.0,
        support_speed_mm_s=120.0,
        travel_speed_mm_s=300.0,
        flow_limit_mm3_s=20.0,
        least_layer_s=0.0,
    ),
    "single": replace(DEFAULT, contours=1, least_layer_s=0.0, bed_edge_mm=4.0),
    "sparse": replace(DEFAULT, contours=1, infill_share=0.1, least_layer_s=0.0, bed_edge_mm=4.0),
}
# With lines 4.5 mm apart it matters where in a part of a centimetre they happen to lie: shown, and held to no limit.
SHOWN_ONLY = {"sparse"}
DURATION_LIMITS = (2.0, 6.0)
VOLUME_LIMITS = (1.0, 3.0)


@dataclass(frozen=True)
class Compared:
    """One part in both forms; times without heating. `*_off` is fast over exact − 1, in %."""

    part: str
    settings: str
    layers: int
    exact_s: float
    fast_s: float
    duration_off: float
    exact_mm3: float
    fast_mm3: float
    volume_off: float
    exact_cpu_s: float
    fast_cpu_s: float


def stl(solid: Solid) -> bytes:
    """The bytes of a solid's STL file."""
    made = solid.to_mesh()
    corners = np.asarray(made.vert_properties, dtype="<f4")[np.asarray(made.tri_verts)]
    facets = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    facets["corners"] = corners
    return b"\0" * 80 + struct.pack("<I", len(facets)) + facets.tobytes()


def polygon(points: Sequence[tuple[float, float]]) -> Outline:
    """An outline through points, counter-clockwise."""
    return Outline([np.array(points, dtype=np.float64)])


def extruded(outline: Outline, height_mm: float) -> Solid:
    """An upright prism."""
    return Solid.extrude(outline, height_mm)


def rod(radius_mm: float, height_mm: float, facets: int = 64) -> Solid:
    """A cylinder on z = 0."""
    return Solid.cylinder(height_mm, radius_mm, radius_mm, facets)


def plate_with_holes() -> Solid:
    plate = Solid.cube((100.0, 60.0, 5.0))
    for i in range(6):
        for j in range(4):
            plate -= rod(2.0 + 0.5 * j, 7.0, 40).translate((10.0 + 16.0 * i, 9.0 + 14.0 * j, -1.0))
    return plate


def gear() -> Solid:
    teeth, points = 28, []
    for i in range(teeth):
        for part, radius in ((0.0, 27.0), (0.3, 27.0), (0.42, 31.0), (0.72, 31.0)):
            turn = 2.0 * math.pi * (i + part) / teeth
            points.append((radius * math.cos(turn), radius * math.sin(turn)))
    body = extruded(polygon(points), 10.0)
    for i in range(6):
        turn = math.pi * i / 3.0
        body -= rod(5.0, 12.0, 48).translate((17.0 * math.cos(turn), 17.0 * math.sin(turn), -1.0))
    return body - rod(4.0, 12.0, 48).translate((0.0, 0.0, -1.0))


def ribbed_bracket() -> Solid:
    body = Solid.cube((50.0, 40.0, 5.0)) + Solid.cube((5.0, 40.0, 45.0))
    rib = extruded(polygon([(0.0, 0.0), (35.0, 0.0), (0.0, 35.0)]), 4.0).rotate((90.0, 0.0, 0.0))
    for y in (4.0, 22.0, 40.0):
        body += rib.translate((4.0, y, 4.0))
    for x, y in ((38.0, 11.0), (38.0, 29.0)):
        body -= rod(2.6, 7.0, 40).translate((x, y, -1.0))
    return body


def thin_wall_box() -> Solid:
    return Solid.cube((60.0, 40.0, 30.0)) - Solid.cube((57.6, 37.6, 30.0)).translate((1.2, 1.2, 1.2))


def torus() -> Solid:
    return Solid.revolve(Outline.circle(8.0, 64).translate((24.0, 0.0)), 128).translate((0.0, 0.0, 8.0))


def truss() -> Solid:
    body = Solid.cube((120.0, 24.0, 8.0))
    for i in range(7):
        x = 6.0 + 16.0 * i
        up = [(x, 3.0), (x + 12.0, 3.0), (x + 6.0, 20.0)]
        window = up if i % 2 == 0 else [(a, 24.0 - b) for a, b in reversed(up)]
        body -= extruded(polygon(window), 10.0).translate((0.0, 0.0, -1.0))
    for x in (4.0, 116.0):
        body -= rod(1.6, 30.0, 32).rotate((90.0, 0.0, 0.0)).translate((x, 27.0, 4.0))
    return body


def tower() -> Solid:
    body = Solid.cube((14.0, 14.0, 120.0)).rotate((0.0, 0.0, 20.0))
    for z in (15.0, 45.0, 75.0, 105.0):
        body -= rod(3.0, 60.0, 40).rotate((90.0, 0.0, 0.0)).translate((2.0, 40.0, z))
    return body


def star() -> Solid:
    points = []
    for i in range(10):
        radius = 30.0 if i % 2 == 0 else 13.0
        points.append((radius * math.cos(math.pi * i / 5.0), radius * math.sin(math.pi * i / 5.0)))
    return extruded(polygon(points), 8.0)


def comb() -> Solid:
    body = Solid.cube((90.0, 8.0, 4.0))
    for i in range(15):
        body += Solid.cube((2.0 + 0.15 * i, 26.0, 4.0)).translate((6.0 * i, 4.0, 0.0))
    return body


def dome_box() -> Solid:
    dome = Solid.sphere(26.0, 96) ^ Solid.cube((60.0, 60.0, 30.0)).translate((-30.0, -30.0, 0.0))
    return dome + Solid.cube((60.0, 44.0, 6.0)).translate((-30.0, -22.0, -6.0))


def slanted_plate() -> Solid:
    return Solid.cube((60.0, 30.0, 6.0)).rotate((0.0, 35.0, 15.0))


def table() -> Solid:
    legs = [Solid.cube((8.0, 8.0, 20.0)).translate((x, y, 0.0)) for x in (0.0, 42.0) for y in (0.0, 32.0)]
    return sum(legs, Solid()) + Solid.cube((50.0, 40.0, 4.0)).translate((0.0, 0.0, 20.0))


PARTS: dict[str, Callable[[], Solid]] = {
    "cube": lambda: Solid.cube((20.0, 20.0, 20.0)),
    "plate with holes": plate_with_holes,
    "gear": gear,
    "ribbed bracket": ribbed_bracket,
    "thin-wall box": thin_wall_box,
    "cylinder": lambda: rod(15.0, 30.0),
    "cone": lambda: Solid.cylinder(40.0, 20.0, 0.0, 96),
    "sphere": lambda: Solid.sphere(20.0, 128),
    "torus": torus,
    "wedge": lambda: extruded(polygon([(0.0, 0.0), (50.0, 0.0), (0.0, 25.0)]), 30.0).rotate((90.0, 0.0, 0.0)),
    "truss": truss,
    "tower": tower,
    "two bodies": lambda: Solid.cube((15.0, 15.0, 25.0)) + rod(8.0, 25.0).translate((60.0, 40.0, 0.0)),
    "spacer": lambda: rod(5.0, 6.0, 48) - rod(1.7, 8.0, 32).translate((0.0, 0.0, -1.0)),
    "star": star,
    "tube": lambda: rod(20.0, 50.0, 128) - rod(17.5, 52.0, 128).translate((0.0, 0.0, -1.0)),
    "comb": comb,
    "dome on a box": dome_box,
    "slanted plate": slanted_plate,
    "table": table,
}


def random_part(seed: int) -> Solid:
    """A solid by chance: some bodies joined, and some holes and slots cut from them."""
    chance = random.Random(seed)
    body = Solid()
    for _ in range(chance.randint(1, 4)):
        body += _random_body(chance, 10.0, 45.0).translate((chance.uniform(-25, 25), chance.uniform(-25, 25), 0.0))
    for _ in range(chance.randint(0, 8)):
        place = (chance.uniform(-35, 35), chance.uniform(-35, 35), chance.uniform(-10, 25))
        body -= _random_body(chance, 3.0, 14.0).translate(place)
    return body


def _random_body(chance: random.Random, least_mm: float, most_mm: float) -> Solid:
    x, y, z = (chance.uniform(least_mm, most_mm) for _ in range(3))
    made = (
        lambda: Solid.cube((x, y, z)),
        lambda: rod(x / 2, z, chance.choice((6, 16, 48))),
        lambda: Solid.cylinder(z, x / 2, y / 4, 48),
        lambda: Solid.sphere(x / 2, 48),
        lambda: Solid.cube((x, y, z)).rotate((chance.uniform(-30, 30), chance.uniform(-30, 30), 0.0)),
        lambda: rod(x / 4, 2 * y, 32).rotate((90.0, 0.0, chance.uniform(0, 180))),
    )
    return chance.choice(made)().rotate((0.0, 0.0, chance.uniform(0, 90)))


def meshes(wanted: Sequence[str], by_chance: int = 0) -> list[tuple[str, Mesh]]:
    """The parts by name, made here, by chance and taken from the demo."""
    found = [(name, read_mesh(stl(make()), name)) for name, make in PARTS.items()]
    found += [(f"by chance {i}", read_mesh(stl(random_part(i)), "part")) for i in range(by_chance)]
    found += [(path.stem, read_mesh(path.read_bytes(), path.name)) for path in sorted(ROOT.glob("demo_parts/*.stl"))]
    return [(name, mesh) for name, mesh in found if not wanted or name in wanted]


def compared(part: str, mesh: Mesh, settings: str) -> Compared:
    """One part in both forms."""
    base = SETTINGS[settings]
    began = time.process_time()
    fast = estimate_printed(mesh, FILAMENT, PRINTER, base)
    between = time.process_time()
    exact = estimate_printed(mesh, FILAMENT, PRINTER, base, exact=True)
    ended = time.process_time()
    fast_s, exact_s = fast.duration_s - base.heating_s, exact.duration_s - base.heating_s
    fast_mm3, exact_mm3 = fast.volumes_mm3.total, exact.volumes_mm3.total
    return Compared(
        part,
        settings,
        fast.layers,
        exact_s,
        fast_s,
        100.0 * (fast_s / exact_s - 1.0),
        exact_mm3,
        fast_mm3,
        100.0 * (fast_mm3 / exact_mm3 - 1.0),
        ended - between,
        between - began,
    )


def print_table(rows: Sequence[Compared]) -> None:
    """Print the table of one group of settings."""
    print(f"\n{rows[0].settings}\n{'part':22}{'layers':>7}{'exact s':>10}{'fast s':>10}{'off %':>8}", end="")
    print(f"{'exact cm³':>11}{'fast cm³':>10}{'off %':>8}{'CPU s exact':>13}{'fast':>7}")
    for row in rows:
        print(f"{row.part:22}{row.layers:7}{row.exact_s:10.0f}{row.fast_s:10.0f}{row.duration_off:8.2f}", end="")
        print(f"{row.exact_mm3 / 1000:11.3f}{row.fast_mm3 / 1000:10.3f}{row.volume_off:8.2f}", end="")
        print(f"{row.exact_cpu_s:13.2f}{row.fast_cpu_s:7.2f}")


def broken(rows: Sequence[Compared], silent: bool = False) -> bool:
    """Print median and worst; whether a limit is broken."""
    over = False
    for name, offs, limits in (
        ("duration", [abs(row.duration_off) for row in rows], DURATION_LIMITS),
        ("volume", [abs(row.volume_off) for row in rows], VOLUME_LIMITS),
    ):
        median, worst = statistics.median(offs), max(offs)
        over = over or (rows[0].settings not in SHOWN_ONLY and (median > limits[0] or worst > limits[1]))
        if not silent:
            print(f"{name}: median {median:.2f} % (limit {limits[0]:g}), worst {worst:.2f} % (limit {limits[1]:g})")
    return over


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", default="", help="names, separated by commas; all if left out")
    parser.add_argument("--settings", default=",".join(SETTINGS), help="names, separated by commas")
    parser.add_argument("--chance", type=int, default=20, help="how many parts by chance beside those made here")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    parts = meshes([name for name in asked.parts.split(",") if name], asked.chance)
    over = False
    for settings in asked.settings.split(","):
        rows = [compared(name, mesh, settings) for name, mesh in parts]
        if asked.json:
            print(json.dumps([asdict(row) for row in rows]))
        else:
            print_table(rows)
        over = broken(rows, asked.json) or over
    return int(over)


if __name__ == "__main__":
    sys.exit(main())

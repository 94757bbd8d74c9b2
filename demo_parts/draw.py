"""Draw the demo shop's parts: `python demo_parts/draw.py [DIR]` writes every STL and DXF that revisions.csv names.

One function a part, called with what differs between its revisions; the table `PARTS` at the end says which file comes
from which call, so a further part is a function and a row, or only a row. All lengths are millimetres. Two runs write
the same bytes: coordinates are rounded, facets sorted, and drawings carry no time of day.
"""

import io
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import ezdxf
import numpy as np
from ezdxf import units
from manifold3d import CrossSection, FillRule, Manifold

Vertex = tuple[float, float, float]  # x, y and the bulge of the edge that leaves it: tan(a quarter of its turn)
Circle = tuple[float, float, float]  # x, y, diameter

CIRCLE_FACETS = 64


def facets_of(diameter: float) -> int:
    """How many facets a circle gets: it then strays from the round by less than 0.03 mm."""
    return 32 if diameter < 12 else CIRCLE_FACETS if diameter < 60 else 96


@dataclass(frozen=True)
class Plate:
    """A flat part: its outline and its windows as rings of vertices, its round holes as circles."""

    outline: Sequence[Vertex]
    windows: Sequence[Sequence[Vertex]] = ()
    holes: Sequence[Circle] = ()


def rounded(*corners: tuple[float, float, float]) -> list[Vertex]:
    """A ring from corners (x, y, radius), given counter-clockwise; radius 0 leaves a corner sharp."""
    ring: list[Vertex] = []
    for place, (x, y, radius) in enumerate(corners):
        before, after = corners[place - 1], corners[(place + 1) % len(corners)]
        heading_in = math.atan2(y - before[1], x - before[0])
        heading_out = math.atan2(after[1] - y, after[0] - x)
        turn = math.remainder(heading_out - heading_in, 2 * math.pi)
        if radius == 0:
            ring.append((x, y, 0.0))
            continue
        tangent = radius * math.tan(abs(turn) / 2)
        ring.append((x - tangent * math.cos(heading_in), y - tangent * math.sin(heading_in), math.tan(turn / 4)))
        ring.append((x + tangent * math.cos(heading_out), y + tangent * math.sin(heading_out), 0.0))
    return ring


def rectangle(x: float, y: float, width: float, height: float, radius: float) -> list[Vertex]:
    """A rectangle with its lower left corner at (x, y) and round corners."""
    return rounded((x, y, radius), (x + width, y, radius), (x + width, y + height, radius), (x, y + height, radius))


def slot(x: float, y: float, length: float, width: float, upright: bool = False) -> list[Vertex]:
    """A slot with half-round ends about (x, y); `length` is from centre to centre of its ends."""
    reach, half = length / 2, width / 2
    ring = [(-reach, -half, 0.0), (reach, -half, 1.0), (reach, half, 0.0), (-reach, half, 1.0)]
    return [(x - v, y + u, bulge) if upright else (x + u, y + v, bulge) for u, v, bulge in ring]


def mirrored(ring: Sequence[Vertex], about_x: float) -> list[Vertex]:
    """The ring's mirror image about the line x = `about_x`, still counter-clockwise."""
    turned = [(2 * about_x - x, y) for x, y, _ in reversed(ring)]
    bulges = [bulge for _, _, bulge in reversed(ring)]
    return [(x, y, bulge) for (x, y), bulge in zip(turned, bulges[1:] + bulges[:1], strict=True)]


def bolt_circle(x: float, y: float, across: float, count: int, diameter: float) -> list[Circle]:
    """Holes evenly spread on a circle that is `across` wide."""
    turns = [2 * math.pi * place / count for place in range(count)]
    return [(x + across / 2 * math.cos(turn), y + across / 2 * math.sin(turn), diameter) for turn in turns]


def grid(xs: Sequence[float], ys: Sequence[float], diameter: float) -> list[Circle]:
    """A hole at every crossing of `xs` and `ys`."""
    return [(x, y, diameter) for x in xs for y in ys]


def faceted(ring: Sequence[Vertex]) -> list[tuple[float, float]]:
    """The ring's corners with each arc as chords of a circle of `CIRCLE_FACETS`."""
    points: list[tuple[float, float]] = []
    for place, (x, y, bulge) in enumerate(ring):
        points.append((x, y))
        if bulge == 0:
            continue
        end_x, end_y, _ = ring[(place + 1) % len(ring)]
        turn = 4 * math.atan(bulge)
        lever = (1 - bulge**2) / (4 * bulge)  # centre from the chord's middle, in chord lengths, to the left
        centre_x = (x + end_x) / 2 - (end_y - y) * lever
        centre_y = (y + end_y) / 2 + (end_x - x) * lever
        steps = max(2, math.ceil(CIRCLE_FACETS * abs(turn) / (2 * math.pi)))
        for step in range(1, steps):
            cos, sin = math.cos(turn * step / steps), math.sin(turn * step / steps)
            u, v = x - centre_x, y - centre_y
            points.append((centre_x + u * cos - v * sin, centre_y + u * sin + v * cos))
    return points


def disc(x: float, y: float, diameter: float, facets: int | None = None) -> list[tuple[float, float]]:
    """A round ring as a regular polygon with its corners on the circle."""
    facets = facets or facets_of(diameter)
    turns = [2 * math.pi * place / facets for place in range(facets)]
    return [(x + diameter / 2 * math.cos(turn), y + diameter / 2 * math.sin(turn)) for turn in turns]


def prism(ring: Sequence[tuple[float, float]], height: float, foot: float = 0.0) -> Manifold:
    """A ring pulled up from z = `foot`."""
    return Manifold.extrude(CrossSection([ring], FillRule.Positive), height).translate((0, 0, foot))


def rod(x: float, y: float, diameter: float, height: float, foot: float = 0.0) -> Manifold:
    """A round prism."""
    return prism(disc(x, y, diameter), height, foot)


def slab(plate: Plate, thickness: float) -> Manifold:
    """A flat part as a solid."""
    solid = prism(faceted(plate.outline), thickness)
    rings = [faceted(window) for window in plate.windows] + [disc(*hole) for hole in plate.holes]
    for ring in rings:
        solid -= prism(ring, thickness + 2, -1)
    return solid


def sideways(solid: Manifold) -> Manifold:
    """A solid drawn as a side view and pulled along its width: (x, y, z) goes to (z, x, y)."""
    return solid.rotate((90, 0, 90))


def crosswise(x: float, z: float, diameter: float, depth: float) -> Manifold:
    """A rod that lies along y, from just before y = 0 to just past `depth`, for holes in upright walls."""
    return rod(0, 0, diameter, depth + 2).rotate((-90, 0, 0)).translate((x, -1, z))


# --- printed ---------------------------------------------------------------------------------------------------------


def wheel_hub(boss_mm: float) -> Manifold:
    """A flange with six bolts on a 52 mm circle, and a boss with a bore of 12 mm across flats."""
    flange = slab(Plate([(x, y, 0.0) for x, y in disc(0, 0, 70)], holes=bolt_circle(0, 0, 52, 6, 5.3)), 8)
    across_corners = 12 / math.cos(math.pi / 6)
    return flange + rod(0, 0, 30, boss_mm) - prism(disc(0, 0, across_corners, 6), boss_mm + 2, -1)


def cable_pulley(bore_mm: float) -> Manifold:
    """A pulley 40 mm across and 12 mm wide with a V-shaped groove and four holes in its web."""
    half_view = [(bore_mm / 2, 0), (20, 0), (20, 2), (14.5, 5.5), (14.5, 6.5), (20, 10), (20, 12), (bore_mm / 2, 12)]
    wheel = Manifold.revolve(CrossSection([half_view], FillRule.Positive), CIRCLE_FACETS)
    for x, y, diameter in bolt_circle(0, 0, 20, 4, 5):
        wheel -= rod(x, y, diameter, 14, -1)
    return wheel


def scoop_lip(right_hole_mm: float) -> Manifold:
    """A toothed cutting lip, 120 mm wide, with three bolts in its back; revision B has the right one moved."""
    side_view = [(0, 0), (42, 0), (42, 0.8), (10, 5), (4, 9), (4, 32), (0, 32)]
    lip = sideways(prism(side_view, 120))
    for tooth in range(5):
        lip -= Manifold.cube((10, 10, 10)).translate((15 + 20 * tooth, 34, -1))
    for x in (15, 60, right_hole_mm):
        lip -= crosswise(x, 22, 5.2, 4)
    return lip


def dust_duct(height_mm: float) -> Manifold:
    """A tube of 80 mm with a 3 mm wall on a square flange with four bolts."""
    flange = slab(Plate(rectangle(-50, -50, 100, 100, 8), holes=grid((-40, 40), (-40, 40), 5.3)), 5)
    return flange + rod(0, 0, 80, height_mm) - rod(0, 0, 74, height_mm + 2, -1)


def camera_bracket(ribs: bool) -> Manifold:
    """An L with four holes in its foot and three in its wall; revision B adds a rib on each side."""
    side_view = [(0, 0), (60, 0), (60, 5), (11, 5), (5, 11), (5, 55), (0, 55)]
    bracket = sideways(prism(side_view, 45))
    for x in (0, 42) if ribs else ():
        bracket += sideways(prism([(4, 4), (40, 4), (40, 5), (5, 45), (4, 45)], 3)).translate((x, 0, 0))
    for x, y, diameter in grid((10, 35), (22, 50), 4.4):
        bracket -= rod(x, y, diameter, 7, -1)
    for x, diameter in ((8, 3.4), (22.5, 6.5), (37, 3.4)):
        bracket -= crosswise(x, 48 if diameter < 5 else 42, diameter, 5)
    return bracket


def tread_insert() -> Manifold:
    """A pad with four chevrons on top and two pegs below that snap into the wheel's rim."""
    tread = slab(Plate(rectangle(0, 0, 60, 24, 4)), 4)
    for x in (6, 17, 28, 39):
        tread += prism([(x, 0), (x + 4, 0), (x + 10, 12), (x + 4, 24), (x, 24), (x + 6, 12)], 4, 3)
    for x in (15, 45):
        tread += rod(x, 12, 6, 6, -5)
    return tread.translate((0, 0, 5))


# --- routed ----------------------------------------------------------------------------------------------------------


def side_plate(gusset_holes: bool) -> Plate:
    """The rover's side: two axle bores with their bolts, four truss windows, two slots; B has holes for gussets."""
    left = [rounded((112, 32, 6), (192, 32, 6), (112, 108, 6)), rounded((125, 108, 6), (205, 32, 6), (205, 108, 6))]
    windows = [*left, *(mirrored(ring, 210) for ring in left), slot(45, 75, 30, 6), slot(375, 75, 30, 6)]
    holes = [(70.0, 40.0, 22.0), (350.0, 40.0, 22.0)]
    holes += bolt_circle(70, 40, 36, 4, 4.3) + bolt_circle(350, 40, 36, 4, 4.3)
    holes += grid((90, 150, 210, 270, 330), (128,), 5.2) + grid((110, 160, 210, 260, 310), (14,), 5.2)
    if gusset_holes:
        holes += grid((18, 402), (22, 60), 5.2)
    outline = rounded((0, 0, 20), (420, 0, 20), (420, 90, 15), (360, 140, 20), (60, 140, 20), (0, 90, 15))
    return Plate(outline, windows, holes)


def gusset() -> Plate:
    """A corner plate with two bolts along each leg and a round window."""
    outline = rounded((0, 0, 6), (90, 0, 6), (90, 20, 6), (20, 90, 6), (0, 90, 6))
    holes = [(10, 35, 5.2), (10, 75, 5.2), (35, 10, 5.2), (75, 10, 5.2), (36, 36, 22)]
    return Plate(outline, holes=holes)


def electronics_panel() -> Plate:
    """A panel for two boards with a window for connectors and two cable slots."""
    holes = grid((8, 172), (8, 112), 4.3) + grid((20, 70), (45, 95), 3.2) + grid((110, 160), (45, 95), 3.2)
    windows = [rectangle(78, 40, 24, 60, 4), slot(50, 20, 40, 8), slot(130, 20, 40, 8)]
    return Plate(rectangle(0, 0, 180, 120, 8), windows, holes)


def sample_tray() -> Plate:
    """A tray that holds six sample pots by their rims, with a handle at each end."""
    handles = [slot(22, 100, 60, 22, upright=True), slot(278, 100, 60, 22, upright=True)]
    holes = grid((75, 150, 225), (55, 145), 54) + grid((15, 285), (15, 185), 4.2)
    return Plate(rectangle(0, 0, 300, 200, 15), handles, holes)


def deck_plate() -> Manifold:
    """The deck between the sides, 3.175 mm, drawn as a solid."""
    holes = grid((10, 65, 120, 175, 230), (10, 150), 5.2) + grid((10, 230), (80,), 5.2) + [(120, 80, 40)]
    slots = [slot(50, 80, 40, 8, upright=True), slot(190, 80, 40, 8, upright=True)]
    return slab(Plate(rectangle(0, 0, 240, 160, 10), slots, holes), 3.175)


# --- files -----------------------------------------------------------------------------------------------------------

PARTS: dict[str, Callable[[], Manifold | Plate]] = {
    "wheel-hub-a.stl": partial(wheel_hub, boss_mm=24),
    "wheel-hub-b.stl": partial(wheel_hub, boss_mm=28),
    "cable-pulley-a.stl": partial(cable_pulley, bore_mm=6),
    "cable-pulley-b.stl": partial(cable_pulley, bore_mm=8),
    "scoop-lip-a.stl": partial(scoop_lip, right_hole_mm=105),
    "scoop-lip-b.stl": partial(scoop_lip, right_hole_mm=99),
    "dust-duct-a.stl": partial(dust_duct, height_mm=170),
    "camera-bracket-a.stl": partial(camera_bracket, ribs=False),
    "camera-bracket-b.stl": partial(camera_bracket, ribs=True),
    "tread-insert-a.stl": tread_insert,
    "side-plate-a.dxf": partial(side_plate, gusset_holes=False),
    "side-plate-b.dxf": partial(side_plate, gusset_holes=True),
    "gusset-a.dxf": gusset,
    "electronics-panel-a.dxf": electronics_panel,
    "sample-tray-a.dxf": sample_tray,
    "deck-plate-a.stl": deck_plate,
}


def stl_bytes(solid: Manifold, title: str) -> bytes:
    """Binary STL, millimetres. Corners are rounded to 0.1 µm and facets sorted, so that the order says nothing."""
    mesh = solid.to_mesh64()
    corners = np.round(np.asarray(mesh.vert_properties)[:, :3], 4) + 0.0  # + 0.0 turns -0.0 into 0.0
    triangles = corners[np.asarray(mesh.tri_verts)].astype("<f4")
    first = [min(range(3), key=lambda k, three=three: tuple(three[k])) for three in triangles.tolist()]
    triangles = np.stack([np.roll(three, -k, axis=0) for three, k in zip(triangles, first, strict=True)])
    edges = triangles.astype(float)
    flat = (np.diff(np.concatenate([edges, edges[:, :1]], axis=1), axis=1) == 0).all(axis=2).any(axis=1)
    triangles, edges = triangles[~flat], edges[~flat]
    normals = np.cross(edges[:, 1] - edges[:, 0], edges[:, 2] - edges[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.round(np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0), 5) + 0.0
    facets = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    facets["normal"], facets["corners"] = normals, triangles
    facets = facets[np.lexsort(triangles.reshape(-1, 9).T[::-1])]
    return title.encode("ascii").ljust(80)[:80] + len(facets).to_bytes(4, "little") + facets.tobytes()


def dxf_bytes(plate: Plate) -> bytes:
    """A DXF drawing (R2000, millimetres): rings as polylines with arcs, holes as circles."""
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no time of day and no random number in the file
    drawing = ezdxf.new("R2000", units=units.MM)
    sheet = drawing.modelspace()
    for layer, rings in (("OUTLINE", [plate.outline]), ("WINDOWS", plate.windows)):
        drawing.layers.add(layer)
        for ring in rings:
            vertices = [(round(x, 6) + 0.0, round(y, 6) + 0.0, round(bulge, 9)) for x, y, bulge in ring]
            sheet.add_lwpolyline(vertices, format="xyb", close=True, dxfattribs={"layer": layer})
    drawing.layers.add("HOLES")
    for x, y, diameter in plate.holes:
        centre = (round(x, 6) + 0.0, round(y, 6) + 0.0)
        sheet.add_circle(centre, radius=diameter / 2, dxfattribs={"layer": "HOLES"})
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue().encode(drawing.output_encoding)


def main(folder: Path) -> None:
    """Write every file of the table into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in PARTS.items():
        part = draw()
        content = dxf_bytes(part) if isinstance(part, Plate) else stl_bytes(part, f"mm {name}")
        (folder / name).write_bytes(content)
    print(f"{len(PARTS)} files written to {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)

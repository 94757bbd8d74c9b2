"""Estimates of damaged meshes against those of the sound ones: flat patches, a surface by rays, and what is chosen.

python tests/benchmarks/open_meshes.py [--solid NAME …] [--damage NAME …] [--seed 7] [--facets 1000000] [--json]

Every solid of tests/damaged_meshes.py is damaged in every way and estimated as a printed part three times: with every
hole closed by a flat patch (refused where patches are nine tenths of the surface), with a new surface where rays
find the part to end, and as the program does it. The errors of volume, mass and duration are against the sound
solid, estimated in the same run; parts whose damage leaves nothing, or nothing open, are left out. At last a sphere
of a million facets, of which one in a thousand is missing, is timed beside the same sphere whole.
"""

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import manifold3d
import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from register.domain.estimates import PrintedEstimate  # noqa: E402
from register.domain.machines import Machine, PrintSettings  # noqa: E402
from register.domain.materials import Form, Material  # noqa: E402
from register.domain.parts import Process  # noqa: E402
from register.errors import BadMesh  # noqa: E402
from register.estimate.printed import estimate_printed  # noqa: E402
from register.geometry.meshes import read_mesh  # noqa: E402
from register.geometry.open_meshes import looked_through, rebuilt  # noqa: E402
from register.geometry.topology import agreed_winding, area_mm2, edges_of, merged_corners, patches_over  # noqa: E402
from tests.damaged_meshes import Triangles, damages, solids  # noqa: E402
from tests.geometry.stl_bytes import binary  # noqa: E402

PLA = Material("PLA", Form.FILAMENT, 1.24, "data sheet", cost_per_kg_cents=2000)
PRINTER = Machine("printer", Process.PRINTED, (400.0, 400.0, 400.0), cost_per_h_cents=60)
REFUSED_SHARE = 0.9
FEWEST_FACETS = 20


@dataclass(frozen=True)
class Outcome:
    """Errors in percent of one way with one damaged solid, and the CPU of reading it; None where it was refused."""

    damage: str
    solid: str
    way: str
    volume: float | None
    mass: float | None
    duration: float | None
    in_range: bool
    warned: str
    cpu_s: float


def by_patches(damaged: Triangles) -> Triangles:
    """Closed with flat patches alone."""
    points, faces = merged_corners(damaged)
    faces = agreed_winding(faces, edges_of(faces))
    patches, _ = patches_over(points, edges_of(faces))
    if area_mm2(patches) > REFUSED_SHARE * area_mm2(points[faces]):
        raise BadMesh("There is little but holes.", "Repair it.")
    return np.concatenate([points[faces], patches])


def by_rays(damaged: Triangles) -> Triangles:
    """A new surface, whatever the holes."""
    points, faces = merged_corners(damaged)
    looked = looked_through(points, agreed_winding(faces, edges_of(faces)))
    if looked is None or not looked.inside.solid.any():
        raise BadMesh("No ray finds an inside.", "Repair it.")
    return rebuilt(looked)


WAYS: dict[str, Callable[[Triangles], Triangles]] = {
    "patches": by_patches,
    "rays": by_rays,
    "chosen": lambda damaged: damaged,
}


def estimated(triangles: Triangles) -> PrintedEstimate:
    """The estimate of an STL file with those triangles."""
    return estimate_printed(read_mesh(binary(triangles), "part"), PLA, PRINTER, PrintSettings())


def outcomes(sound: dict[str, Triangles], kinds: list[str], seed: int) -> list[Outcome]:
    """Every damage to every solid, in every way."""
    found = []
    whole = {name: estimated(triangles) for name, triangles in sound.items()}
    for kind in kinds:
        for name, triangles in sound.items():
            damaged = damages()[kind](triangles, np.random.default_rng(seed)).astype(np.float32).astype(np.float64)
            if len(damaged) < FEWEST_FACETS or _reads_as_closed(damaged):
                continue
            found += [_outcome(kind, name, way, damaged, whole[name]) for way in WAYS]
    return found


def _reads_as_closed(damaged: Triangles) -> bool:
    try:
        return read_mesh(binary(damaged), "part").closed
    except BadMesh:
        return False


def _outcome(kind: str, name: str, way: str, damaged: Triangles, whole: PrintedEstimate) -> Outcome:
    start = time.process_time()
    try:
        found = estimated(WAYS[way](damaged))
    except BadMesh as refused:
        return Outcome(kind, name, way, None, None, None, True, refused.what, time.process_time() - start)
    volume, mass, duration = (
        100.0 * (after / before - 1.0)
        for after, before in (
            (found.solid_volume_mm3, whole.solid_volume_mm3),
            (found.mass_g, whole.mass_g),
            (found.duration_s, whole.duration_s),
        )
    )
    within = found.duration_low_s <= whole.duration_s <= found.duration_high_s
    cpu_s = time.process_time() - start
    return Outcome(kind, name, way, volume, mass, duration, within, " ".join(found.warnings), cpu_s)


def summary(found: list[Outcome]) -> list[str]:
    """Lines: for each damage and way the cases, the refusals, and the median and worst errors."""
    lines = [f"{'damage':24}{'way':9}cases refused  {'volume %':>16}{'mass %':>18}{'duration %':>18}  out of range"]
    for kind in [*dict.fromkeys(each.damage for each in found), "all"]:
        for way in WAYS:
            rows = [each for each in found if each.way == way and kind in (each.damage, "all")]
            kept = [each for each in rows if each.volume is not None]
            figures = "".join(
                _median_and_worst([float(getattr(each, name)) for each in kept])
                for name in ("volume", "mass", "duration")
            )
            outside = sum(not each.in_range for each in kept)
            lines.append(f"{kind:24}{way:9}{len(rows):5} {len(rows) - len(kept):7} {figures}  {outside}")
    return lines


def _median_and_worst(errors: list[float]) -> str:
    if not errors:
        return f"{'–':>9}{'–':>9}"
    sizes = [abs(each) for each in errors]
    return f"{statistics.median(sizes):9.2f}{max(sizes):9.2f}"


def million(facets: int) -> dict[str, float]:
    """CPU seconds of reading a large sphere, whole and with one facet in a thousand missing."""
    segments = round((2 * facets) ** 0.5 / 4) * 4
    mesh = manifold3d.Manifold.sphere(40.0, segments).to_mesh()
    whole = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3][np.asarray(mesh.tri_verts)]
    holed = whole[np.random.default_rng(1).random(len(whole)) > 0.001]
    band = whole[np.abs(whole[..., 2].mean(axis=1)) > 4.0]
    taken = {"facets": float(len(whole))}
    for name, triangles in (("whole", whole), ("holed", holed), ("without a band", band)):
        content = binary(triangles)
        start = time.process_time()
        mesh_read = read_mesh(content, name)
        taken[f"{name}, read s"] = time.process_time() - start
        estimate_printed(mesh_read, PLA, PRINTER, PrintSettings())
        taken[f"{name}, estimated s"] = time.process_time() - start
    return taken


def main() -> None:
    """Damage, estimate, print."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--solid", nargs="*", help="names of solids; all if none is given")
    parser.add_argument("--damage", nargs="*", help="names of damages; all if none is given")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--facets", type=int, default=1_000_000, help="of the large sphere; 0 leaves it out")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    sound = {name: each for name, each in solids().items() if not said.solid or name in said.solid}
    found = outcomes(sound, [kind for kind in damages() if not said.damage or kind in said.damage], said.seed)
    large = million(said.facets) if said.facets else {}
    if said.json:
        print(json.dumps({"outcomes": [asdict(each) for each in found], "large": large}))
        return
    print("\n".join(summary(found)))
    for name, figure in large.items():
        print(f"{name}: {figure:.6g}")


if __name__ == "__main__":
    main()

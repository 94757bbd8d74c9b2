"""How fast and in how much memory meshes are read, checked, profiled and estimated, against trimesh and shapely.

python tests/benchmarks/mesh_speed.py [--rounds 3] [--only bumpy-1000k] [--json]

Every measurement is the processor time or the largest resident size of a process of its own; the reference is measured
in the same run. trimesh's sections need scipy and networkx beside it, which pitwright does not. Ends with 1 if a limit
is passed, with 2 if the reference cannot run.
"""

import argparse
import importlib.util
import json
import resource
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.domain.materials import Form
from register.domain.parts import Process
from register.estimate.printed import estimate_printed
from register.estimate.whole import machines_for, material_named
from register.geometry.layers import layer_profile
from register.geometry.meshes import read_mesh
from register.geometry.topology import bounds_of
from register.settings.shop_file import built_in
from tests.geometry.point_files import obj, ply_binary, ply_text, points_and_faces
from tests.geometry.stl_bytes import binary

Triangles = NDArray[np.float64]

LAYER_MM = 0.2
MOST_MB, PROFILE_MB = 500.0, 100.0
SECONDS = 6.0
READ_S = 1.3


def bumpy(meridians: int, bands: int) -> Triangles:
    """A bumpy ball of 2·meridians·(bands − 1) triangles, some 120 mm across."""
    polar, round_it = np.meshgrid(
        np.linspace(0, np.pi, bands + 1), np.arange(meridians) * 2 * np.pi / meridians, indexing="ij"
    )
    waves = 0.08 * np.sin(7 * polar) * np.sin(9 * round_it) + 0.02 * np.sin(31 * polar) * np.cos(23 * round_it)
    radius = 60.0 * (1.0 + waves * np.sin(polar) ** 2)
    across = radius * np.sin(polar)
    across[[0, -1]] = 0.0
    points = np.stack([across * np.cos(round_it), across * np.sin(round_it), radius * np.cos(polar)], axis=-1)
    upper, lower = points[:-1], points[1:]
    upper_next, lower_next = np.roll(upper, -1, axis=1), np.roll(lower, -1, axis=1)
    left = np.stack([upper, lower, lower_next], axis=2)[:-1]
    right = np.stack([upper, lower_next, upper_next], axis=2)[1:]
    return np.concatenate([left.reshape(-1, 3, 3), right.reshape(-1, 3, 3)])


def tall(sides: int) -> Triangles:
    """A cylinder of 4·sides triangles, 300 mm tall: every side spans every layer."""
    turn = np.arange(sides) * 2 * np.pi / sides
    low = np.stack([20.0 * np.cos(turn), 20.0 * np.sin(turn), np.zeros(sides)], axis=-1)
    foot, high = np.zeros_like(low), low + np.array([0.0, 0.0, 300.0])
    low_next, high_next = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
    faces = [
        (low, low_next, high_next),
        (low, high_next, high),
        (low_next, low, foot),
        (high, high_next, high * [0, 0, 1]),
    ]
    return np.concatenate([np.stack(face, axis=1) for face in faces])


def shuffled(triangles: Triangles) -> Triangles:
    return triangles[np.random.default_rng(1).permutation(len(triangles))]


def holed(triangles: Triangles) -> Triangles:
    """One facet of a hundred is missing."""
    return shuffled(triangles)[len(triangles) // 100 :]


def wound_anyhow(triangles: Triangles) -> Triangles:
    made = shuffled(triangles)
    turned = np.random.default_rng(2).random(len(made)) < 0.5
    made[turned] = made[turned][:, ::-1]
    return made


@dataclass(frozen=True)
class Case:
    """One file.

    `faster` is how many times faster than the reference the profile must be; 0 for memory alone. `large` files are
    held to all limits. The reference cuts every `each` layer, and its time is multiplied by that.
    """

    make: Callable[[], bytes]
    faster: float = 0.0
    large: bool = False
    each: int = 1
    suffix: str = "stl"


def _largest() -> Triangles:
    return bumpy(1000, 601)


def _points(triangles: Triangles) -> Any:
    return points_and_faces(np.float32(triangles).astype(np.float64))


CASES = {
    "bumpy-10k": Case(lambda: binary(bumpy(100, 51)), 50.0),
    "bumpy-100k": Case(lambda: binary(bumpy(316, 160)), 50.0),
    "tall-100k": Case(lambda: binary(tall(25_000)), 50.0, large=True, each=25),
    "bumpy-1000k": Case(lambda: binary(bumpy(1000, 501)), 20.0, large=True),
    "shuffled-1000k": Case(lambda: binary(shuffled(bumpy(1000, 501))), 20.0, large=True),
    "largest": Case(lambda: binary(_largest())),
    "largest-shuffled": Case(lambda: binary(shuffled(_largest()))),
    "largest-tall": Case(lambda: binary(tall(300_000))),
    "largest-holed": Case(lambda: binary(holed(_largest()))),
    "largest-wound-anyhow": Case(lambda: binary(wound_anyhow(_largest()))),
    "obj-1200k": Case(lambda: obj(*_points(_largest())), suffix="obj"),
    "ply-1200k": Case(lambda: ply_binary(*_points(_largest())), suffix="ply"),
    "ply-text-1200k": Case(lambda: ply_text(*_points(_largest())), suffix="ply"),
}


def _seconds(work: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """The least processor time of some rounds, and what came of the last."""
    best, made = float("inf"), None
    for _ in range(rounds):
        made = None
        began = time.process_time()
        made = work()
        best = min(best, time.process_time() - began)
    return best, made


def _peak_mb() -> float:
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii")
        return int(status.partition("VmHWM:")[2].split()[0]) / 1000.0
    except (OSError, ValueError):  # elsewhere; it may then be what the process that began this one held
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000.0


def _heights(low: float, high: float) -> NDArray[np.float64]:
    return np.arange(low + LAYER_MM / 2.0, high, LAYER_MM)


def measure_whole(path: Path, rounds: int, each: int) -> dict[str, float]:
    """Read and estimate with the built-in settings: seconds, and the most that the process held."""
    content = path.read_bytes()
    settings = built_in()
    material = material_named("PLA", Form.FILAMENT, settings)
    machine = replace(machines_for(Process.PRINTED, material.name, settings)[0], size_mm=(400.0, 400.0, 400.0))

    def whole() -> object:
        return estimate_printed(read_mesh(content, path.name), material, machine, settings.shop.print_settings)

    seconds, _ = _seconds(whole, rounds)
    return {"whole_s": seconds, "whole_mb": _peak_mb()}


def measure_profile(path: Path, rounds: int, each: int) -> dict[str, Any]:
    """Read and profile: seconds of each, what the profile takes beside the mesh, and its figures."""
    content = path.read_bytes()
    read_s, mesh = _seconds(lambda: read_mesh(content, path.name), rounds)
    low, high = bounds_of(mesh.triangles_mm)
    heights = _heights(float(low[2]), float(high[2]))
    profile_s, (areas, lengths) = _seconds(lambda: layer_profile(mesh.triangles_mm, heights), rounds)
    tracemalloc.start()
    layer_profile(mesh.triangles_mm, heights)
    taken = tracemalloc.get_traced_memory()[1] / 1e6
    return {
        "read_s": read_s,
        "profile_s": profile_s,
        "profile_mb": taken,
        "areas": areas[::each].tolist(),
        "lengths": lengths[::each].tolist(),
    }


def measure_reference(path: Path, rounds: int, each: int) -> dict[str, Any]:
    """The same by trimesh and shapely."""
    import trimesh

    load_s, mesh = _seconds(lambda: trimesh.load_mesh(path), rounds)
    heights = _heights(float(mesh.bounds[0, 2]), float(mesh.bounds[1, 2]))[::each]

    def sectioned() -> list[tuple[float, float]]:
        cuts = mesh.section_multiplane((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), heights)
        polygons = [cut.polygons_full if cut is not None else () for cut in cuts]
        return [(sum(each.area for each in some), sum(each.length for each in some)) for some in polygons]

    sections_s, found = _seconds(sectioned, 1)
    areas, lengths = zip(*found, strict=True)
    return {
        "load_s": load_s,
        "sections_s": sections_s * each,
        "areas": areas,
        "lengths": lengths,
        "reference_mb": _peak_mb(),
    }


PARTS: dict[str, Callable[[Path, int, int], dict[str, Any]]] = {
    "whole": measure_whole,
    "profile": measure_profile,
    "reference": measure_reference,
}


def _in_own_process(part: str, path: Path, rounds: int, each: int) -> dict[str, Any]:
    command = [sys.executable, str(Path(__file__)), "--part", part, "--file", str(path)]
    command += ["--rounds", str(rounds), "--each", str(each)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found: dict[str, Any] = json.loads(said)
    return found


def _worst(found: dict[str, Any], reference: dict[str, Any]) -> float:
    """The largest difference of an area or a length on any layer, as a share of it."""
    shares = []
    for name in ("areas", "lengths"):
        ours, theirs = np.array(found.pop(name)), np.array(reference.pop(name))
        shares.append(float((np.abs(ours - theirs) / np.maximum(theirs, 1e-3)).max()))
    return max(shares)


def measure(name: str, folder: Path, rounds: int) -> dict[str, Any]:
    """Everything of one case."""
    case = CASES[name]
    path = folder / f"{name}.{case.suffix}"
    path.write_bytes(case.make())
    found = {"file_mb": path.stat().st_size / 1e6, **_in_own_process("whole", path, 1, 1)}
    if case.faster:
        profile, reference = (_in_own_process(part, path, rounds, case.each) for part in ("profile", "reference"))
        worst = _worst(profile, reference)
        found |= {**profile, **reference, "worst_share": worst}
    path.unlink()
    return found


def limits(name: str, found: dict[str, Any]) -> list[tuple[str, float, float]]:
    """What is held against what: a sentence, the figure and the most that it may be."""
    held = [("whole process, MB", found["whole_mb"], MOST_MB)]
    case = CASES[name]
    if case.faster:
        held += [
            ("profile / trimesh's sections and shapely", found["profile_s"] / found["sections_s"], 1.0 / case.faster),
            ("profile beside the mesh, MB", found["profile_mb"], PROFILE_MB),
            ("worst area or length of any layer", found["worst_share"], 1e-7),
        ]
    if case.large:
        held += [
            ("read, s", found["read_s"], READ_S),
            ("read and profile / trimesh.load_mesh", (found["read_s"] + found["profile_s"]) / found["load_s"], 0.5),
            ("whole estimate, s", found["whole_s"], SECONDS),
            ("whole estimate / trimesh's sections and shapely", found["whole_s"] / found["sections_s"], 0.4),
        ]
    return held


def main() -> int:
    """Measure, say what came of it; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--only", choices=list(CASES), action="append", help="of these alone; repeat it")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--part", choices=list(PARTS), help=argparse.SUPPRESS)
    parser.add_argument("--each", type=int, default=1, help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    words = parser.parse_args()
    if words.part:
        print(json.dumps(PARTS[words.part](words.file, words.rounds, words.each)))
        return 0
    if missing := [each for each in ("scipy", "networkx") if importlib.util.find_spec(each) is None]:
        print(f"trimesh's sections need {' and '.join(missing)}: pip install {' '.join(missing)}", file=sys.stderr)
        return 2
    found, over = {}, 0
    with TemporaryDirectory() as folder:
        for name in words.only or CASES:
            found[name] = measure(name, Path(folder), words.rounds)
            held = limits(name, found[name])
            found[name]["over"] = [what for what, figure, most in held if figure > most]
            over += len(found[name]["over"])
            if not words.json:
                _print(name, found[name], held)
    if words.json:
        print(json.dumps(found, indent=1))
    return int(over > 0)


def _print(name: str, found: dict[str, Any], held: list[tuple[str, float, float]]) -> None:
    said = ", ".join(f"{key} {figure:.3g}" for key, figure in found.items() if isinstance(figure, float))
    print(f"{name}: {said}", flush=True)
    for what, figure, most in held:
        print(f"  {'over' if figure > most else 'ok':5}{what:50}{figure:12.3g} of at most {most:.3g}", flush=True)


if __name__ == "__main__":
    sys.exit(main())

"""Volumes of meshes and of their layers against the exact solids of a CAD kernel, from which the meshes were made.

python tests/benchmarks/outside_solids.py --python ENV/bin/python [--limit 2e-4] [--layer 0.05] [--coarser 1] [--json]

ENV is an environment with cadquery-ocp-novtk (the extra `outside`). Facets leave a share out that grows with the square
of their angle: `--coarser 2` shows it. Exits 1 if the volume of a mesh, its area or the sum of its layers is off by
more than the limit, as a share, or if the kernel holds a solid invalid.
"""

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.geometry.layers import layer_profile
from register.geometry.meshes import read_mesh
from tests.outside.other_environment import PYTHON_VARIABLE, kernel_shapes, python_with


@dataclass(frozen=True)
class Compared:
    """One solid: its exact volume, and how far the mesh, its area and its layers are off, as shares."""

    name: str
    valid: bool
    triangles: int
    exact_mm3: float
    volume: float
    area: float
    layers: float
    cpu_s: float


def compared(python: str, layer_mm: float, coarser: float) -> Iterator[Compared]:
    """Every solid; CPU is that of reading the mesh and of its layers."""
    with kernel_shapes(python, str(coarser)) as shapes:
        for name, shape in shapes.items():
            content = shape.file.read_bytes()
            began = time.process_time()
            mesh = read_mesh(content, name)
            count = round(mesh.size_mm[2] / layer_mm)
            heights = mesh.triangles_mm[..., 2].min() + (np.arange(count, dtype=np.float64) + 0.5) * layer_mm
            summed = float(layer_profile(mesh.triangles_mm, heights)[0].sum()) * layer_mm
            yield Compared(
                name,
                shape.valid,
                len(mesh.triangles_mm),
                shape.volume_mm3,
                mesh.volume_mm3 / shape.volume_mm3 - 1.0,
                mesh.area_mm2 / shape.area_mm2 - 1.0,
                summed / shape.volume_mm3 - 1.0,
                time.process_time() - began,
            )


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--python", help=f"of the environment with the kernel; else ${PYTHON_VARIABLE}")
    parser.add_argument("--limit", type=float, default=2e-4, help="of each difference, as a share")
    parser.add_argument("--layer", type=float, default=0.05, help="height of a layer in mm")
    parser.add_argument("--coarser", type=float, default=1.0, help="times the angle between neighbouring facets")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    if said.python:
        os.environ[PYTHON_VARIABLE] = said.python
    python = python_with("OCP")
    if python is None:
        parser.error("cadquery-ocp-novtk is not installed there.")
    rows = list(compared(python, said.layer, said.coarser))
    if said.json:
        print(json.dumps([asdict(row) for row in rows]))
    else:
        print(f"{'solid':34} {'facets':>7} {'exact mm³':>12} {'volume':>9} {'area':>9} {'layers':>9} {'CPU s':>6}")
        for row in rows:
            print(
                f"{row.name:34} {row.triangles:7} {row.exact_mm3:12.4f} {row.volume:+9.1e} {row.area:+9.1e} "
                f"{row.layers:+9.1e} {row.cpu_s:6.2f}{'' if row.valid else '  INVALID'}"
            )
    worst = max(max(abs(row.volume), abs(row.area), abs(row.layers)) for row in rows)
    sys.exit(worst > said.limit or not all(row.valid for row in rows))


if __name__ == "__main__":
    main()

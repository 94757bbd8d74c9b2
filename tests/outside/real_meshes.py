"""Meshes that other projects made for their own ends, read out of their packages where those were downloaded.

The packages are never part of this project; benchmarks/real_meshes.py downloads them.
"""

import io
import tarfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np
import trimesh
from manifold3d import Error, Manifold, Mesh64, OpType

FOLDER_VARIABLE = "PITWRIGHT_REAL_MESHES"
ENDINGS = {".stl", ".obj", ".ply"}
# No robot of these packages is longer: what is, read in metres, was drawn in millimetres.
LONGEST_M = 5.0


@dataclass(frozen=True)
class Package:
    """What to download: `requirement` for pip, what its archive's name begins with, and the unit of most meshes."""

    requirement: str
    begins: str
    unit: str
    from_source: bool = False


PACKAGES = (
    Package("pyvista==0.49.0", "pyvista-", "mm"),
    Package("build123d==0.13.0", "build123d-", "mm", from_source=True),
    Package("gymnasium-robotics==1.4.2", "gymnasium_robotics-", "m"),
)


@dataclass(frozen=True)
class RealMesh:
    """One mesh file of a package: its path in the archive, its bytes, and the unit of most meshes of its package."""

    package: str
    path: str
    content: bytes
    unit: str

    @property
    def name(self) -> str:
        return PurePosixPath(self.path).name


def real_meshes(folder: Path) -> Iterator[RealMesh]:
    """Every mesh of the packages that lie in a folder, by package and path; what is there twice comes once."""
    seen: set[bytes] = set()
    for package in PACKAGES:
        for archive in sorted(folder.glob(f"{package.begins}*")):
            for path, content in sorted(_members(archive)):
                if content in seen:
                    continue
                seen.add(content)
                yield RealMesh(package.begins.rstrip("-"), path, content, package.unit)


def _members(archive: Path) -> Iterator[tuple[str, bytes]]:
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as packed:
            for name in packed.namelist():
                if PurePosixPath(name).suffix.lower() in ENDINGS:
                    yield name, packed.read(name)
        return
    with tarfile.open(archive) as packed_tar:
        for member in packed_tar:
            content = packed_tar.extractfile(member) if PurePosixPath(member.name).suffix.lower() in ENDINGS else None
            if content is not None:
                yield member.name, content.read()


def by_trimesh(mesh: RealMesh) -> trimesh.Trimesh | None:
    """The mesh as trimesh reads it, corners merged; None where it finds no faces."""
    ending = PurePosixPath(mesh.path).suffix.lower().lstrip(".")
    found = trimesh.load(io.BytesIO(mesh.content), file_type=ending, force="mesh", skip_materials=True)
    if not isinstance(found, trimesh.Trimesh) or not len(found.faces):
        return None
    # Corners that differ in texture or normal alone are one corner of the body.
    found.merge_vertices(merge_tex=True, merge_norm=True)
    return found


def unit_of(mesh: RealMesh, reference: trimesh.Trimesh) -> str:
    """The unit that this mesh was drawn in."""
    return "mm" if float(np.max(reference.extents)) > LONGEST_M else mesh.unit


def signed_mm3(reference: trimesh.Trimesh, unit_mm: float) -> float:
    """Its signed volume, from corner to corner, taken about its middle; bodies that overlap count twice."""
    corners = np.asarray(reference.triangles, dtype=np.float64)
    corners = (corners - corners.reshape(-1, 3).mean(axis=0)) * unit_mm
    return abs(float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6.0))


def united_mm3(reference: trimesh.Trimesh, unit_mm: float) -> float | None:
    """The volume of its bodies with what they share counted once, as a solid library unites them.

    None where that library takes it for no solid, or where a body is a cavity.
    """
    corners = np.asarray(reference.vertices, dtype=np.float64) * unit_mm
    solid = Manifold(Mesh64(corners, np.asarray(reference.faces, dtype=np.uint64)))
    bodies = solid.decompose()
    if solid.status() != Error.NoError or min(body.volume() for body in bodies) <= 0.0:
        return None
    return float(Manifold.batch_boolean(bodies, OpType.Add).volume())

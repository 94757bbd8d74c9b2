"""Meshes that other projects made, where their packages were downloaded: each is read or refused, and volumes agree."""

import os
from collections import Counter
from pathlib import Path

import pytest

from register.errors import Refused
from register.geometry.meshes import UNITS_MM, read_mesh
from tests.outside.real_meshes import FOLDER_VARIABLE, by_trimesh, real_meshes, signed_mm3, unit_of, united_mm3

# Triangles and mm³ by which the right files are known. Source: trimesh 5.2 on the files of these versions.
KNOWN = {"nut.ply": (1046, 32171.32), "cyl_w_rect_hole.stl": (780, 42520.03)}
# Bodies that overlap are told apart at a few heights only.
WITHIN, WITHIN_OVERLAP = 1e-5, 0.03


def test_real_meshes_are_read_or_refused_and_their_volumes_agree() -> None:
    folder = os.environ.get(FOLDER_VARIABLE)
    if not folder:
        pytest.skip(f"${FOLDER_VARIABLE} names no folder of packages; see DEVELOPERS.md")
    agreed: Counter[str] = Counter()
    for mesh in real_meshes(Path(folder)):
        reference = by_trimesh(mesh)
        assert reference is not None, mesh.path
        unit = unit_of(mesh, reference)
        try:
            found = read_mesh(mesh.content, mesh.name, unit)
        except Refused as refused:
            assert refused.cure and not reference.is_watertight, mesh.path
            continue
        if mesh.name in KNOWN:
            assert (len(found.triangles_mm), round(found.volume_mm3, 2)) == KNOWN[mesh.name]
        expected = None
        if found.closed and found.bodies == 1 and reference.is_winding_consistent:
            expected = pytest.approx(signed_mm3(reference, UNITS_MM[unit]), rel=WITHIN)
        elif found.closed and reference.is_watertight:
            united = united_mm3(reference, UNITS_MM[unit])
            expected = None if united is None else pytest.approx(united, rel=WITHIN_OVERLAP)
        if expected is not None:
            assert found.volume_mm3 == expected, mesh.path
            agreed[mesh.package] += 1
    assert len(agreed) >= 2 and agreed.total() >= 4, agreed

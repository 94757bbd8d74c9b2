"""Volumes of meshes against the exact volumes of the solids that a CAD kernel cut them from."""

import math

import numpy as np
import pytest

from register.geometry.layers import layer_profile
from register.geometry.meshes import read_mesh
from tests.outside.other_environment import PYTHON_VARIABLE, kernel_shapes, python_with

# Share of the volume that facets and layers may leave out or add; kernel_shapes.py says how fine the facets are.
WITHIN = 2e-4
# Where a side is round at its top or bottom, as on a torus, layers of height h add about 0.06·C·h^1.5 (C√s is the area
# at a distance s from the end): 7e-4 of this torus at 0.2 mm, 8e-5 at 0.05 mm. Source: the zeta function at −½.
LAYER_MM = 0.05

# What the kernel's own volumes are held to where there is a formula for them, mm³.
CLOSED_FORMS_MM3 = {
    # Steiner's formula: a box of 34 × 24 × 14 grown by 3 mm all round.
    "rounded box": 34 * 24 * 14
    + 2 * 3 * (34 * 24 + 24 * 14 + 14 * 34)
    + math.pi * 9 * (34 + 24 + 14)
    + 4 / 3 * math.pi * 27,
    "cylinder": math.pi * 100 * 30,
    "cone frustum": math.pi * 20 / 3 * (144 + 60 + 25),
    "sphere": 4 / 3 * math.pi * 15**3,
    "torus": 2 * math.pi**2 * 20 * 36,
    # A box, a prismatoid of 1 mm over it, and five holes, none of which meets the broken edges.
    "plate with holes and broken edges": 60 * 40 * 5
    + (60 * 40 + 4 * 59 * 39 + 58 * 38) / 6
    - math.pi * 6 * (4 * 2.75**2 + 11**2),
    # Rings one above another: a cylinder of 20 mm less the groove (a smaller cylinder, two frustums beside it), the hub
    # over it, and the bore through all.
    "turned pulley": math.pi * (400 * 4 + 196 * 2 + 2 * 4 / 3 * (400 + 280 + 196) + 64 * 6 - 16 * 20),
    # Archimedes, The Method: two thirds of the cube around it.
    "crossed cylinders": 2 / 3 * 20**3,
}


def test_meshes_of_a_cad_kernel_hold_what_its_solids_hold() -> None:
    python = python_with("OCP")
    if python is None:
        pytest.skip(f"cadquery-ocp-novtk is not installed where ${PYTHON_VARIABLE} says; see DEVELOPERS.md")
    with kernel_shapes(python) as shapes:
        assert len(shapes) >= 6 and CLOSED_FORMS_MM3.keys() <= shapes.keys()
        for name, shape in shapes.items():
            assert shape.valid, name
            exact = CLOSED_FORMS_MM3.get(name, shape.volume_mm3)
            assert shape.volume_mm3 == pytest.approx(exact, rel=1e-7), name
            mesh = read_mesh(shape.file.read_bytes(), name)
            assert (mesh.closed, mesh.bodies, mesh.warnings) == (True, 1, ()), name
            assert mesh.volume_mm3 == pytest.approx(exact, rel=WITHIN), name
            assert mesh.area_mm2 == pytest.approx(shape.area_mm2, rel=WITHIN), name
            layers = round(mesh.size_mm[2] / LAYER_MM)
            heights = mesh.triangles_mm[..., 2].min() + (np.arange(layers) + 0.5) * LAYER_MM
            areas, _ = layer_profile(mesh.triangles_mm, heights)
            assert areas.sum() * LAYER_MM == pytest.approx(exact, rel=WITHIN), name

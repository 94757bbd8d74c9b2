"""Contours, solid layers and infill against drawings with shapely that know nothing of the mesh."""

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.estimate.print_layers import layer_regions, layer_stack
from register.estimate.printed import estimate_printed
from register.geometry.meshes import read_mesh
from tests.geometry.stl_bytes import binary
from tests.outside.shapely_layers import Drawn, DrawnLayers, crossed_prisms, drawn_layers, solids

FILAMENT = Material("PLA", Form.FILAMENT, 1.24, "data sheet")
PRINTER = Machine("Wren", Process.PRINTED, (200.0, 150.0, 180.0))
THICK = PrintSettings()
THIN = replace(THICK, contours=2, line_width_mm=0.6, solid_top_layers=3, solid_bottom_layers=2, infill_share=0.35)
BARE = replace(THICK, contours=1, solid_top_layers=0, solid_bottom_layers=1)
SOLIDS = solids()
# Of the volume, or of the largest layer: what the shop is promised. Polygons simplified to 0.005 mm take up to 3e-5.
WITHIN = 1e-3


@cache
def drawn_as(name: str, settings: PrintSettings) -> DrawnLayers:
    return drawn_layers(SOLIDS[name], settings)


@pytest.mark.parametrize("settings", [THICK, THIN, BARE], ids=["thick walls", "thin walls", "one wall"])
@pytest.mark.parametrize("name", SOLIDS)
def test_the_material_of_a_print_lies_where_it_was_drawn(name: str, settings: PrintSettings) -> None:
    drawn = drawn_as(name, settings)
    mesh = read_mesh(binary(SOLIDS[name].triangles_mm), name)
    found = estimate_printed(mesh, FILAMENT, PRINTER, settings)
    thickness = settings.layer_height_mm
    slack = WITHIN * mesh.volume_mm3
    assert found.layers == len(drawn.whole)
    assert found.volumes_mm3.contours == pytest.approx(drawn.contours.sum() * thickness, abs=slack)
    assert found.volumes_mm3.solid_layers == pytest.approx(drawn.solid.sum() * thickness, abs=slack)
    infill = drawn.sparse.sum() * thickness * settings.infill_share
    assert found.volumes_mm3.infill == pytest.approx(infill, abs=slack)


@pytest.mark.parametrize("name", SOLIDS)
def test_every_layer_has_the_regions_that_were_drawn(name: str) -> None:
    drawn = drawn_as(name, THICK)
    stack = layer_stack(read_mesh(binary(SOLIDS[name].triangles_mm), name).triangles_mm, THICK)
    regions = layer_regions(stack, THICK)
    slack = WITHIN * drawn.whole.max()
    whole = np.array([cut.united_mm2 for cut in stack.cuts])[stack.run]
    inner = np.array([region.area() for region in regions.inner])[stack.run]
    assert whole == pytest.approx(drawn.whole, abs=slack)
    assert whole - inner == pytest.approx(drawn.contours, abs=slack)
    assert np.array([region.area() for region in regions.skin]) == pytest.approx(drawn.solid, abs=slack)
    assert np.array([region.area() for region in regions.sparse]) == pytest.approx(drawn.sparse, abs=slack)


def test_the_drawn_solids_have_all_kinds_of_layers() -> None:
    # Each kind takes more than a hundred times the slack somewhere, so that a lack of it would be seen.
    drawn = [drawn_as(name, THICK) for name in SOLIDS]
    for kind in ("contours", "solid", "sparse"):
        shares = [getattr(each, kind).sum() / each.whole.sum() for each in drawn]
        assert max(shares) > 100 * WITHIN, kind
    # And windows reach over more than flat roofs and floors: some layer is solid in part.
    in_part = [((each.solid > 0.05 * each.whole) & (each.sparse > 0.05 * each.whole)).any() for each in drawn]
    assert sum(in_part) >= 6


def inner_mm2(solid: Drawn, settings: PrintSettings) -> float:
    stack = layer_stack(read_mesh(binary(solid.triangles_mm), "part").triangles_mm, settings)
    return float(layer_regions(stack, settings).inner[0].area())


@pytest.mark.parametrize("seed", range(5))
def test_contours_in_sharp_notches_lie_between_round_and_pointed_ones(seed: int) -> None:
    # Round a notch sharper than 60° a line is cut off square: its point would reach farther than any bead does.
    solid = crossed_prisms(random.Random(seed))
    outline, reach = solid.section(1.0), THICK.contours * THICK.line_width_mm
    pointed = outline.buffer(-reach, join_style="mitre", mitre_limit=100.0).area
    rounded = outline.buffer(-reach, quad_segs=64).area
    slack = 1e-5 * outline.area
    assert pointed < rounded - 100 * slack
    assert pointed - slack < inner_mm2(solid, THICK) < rounded + slack

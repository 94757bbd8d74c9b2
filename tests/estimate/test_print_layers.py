"""The layers of a print and their cuts, and what stands against meshes that would take all time and memory."""

import math
import time

import numpy as np
import pytest

from register.domain.machines import PrintSettings
from register.errors import BadMesh
from register.estimate import print_layers
from register.estimate.print_layers import layer_stack
from tests.geometry.stl_bytes import Triangles, cone, cube, cylinder, moved, prism, sphere

SETTINGS = PrintSettings(layer_height_mm=0.2, first_layer_height_mm=0.3)


def star(rays: int, long_mm: float, high_mm: float) -> Triangles:
    """An upright star: `rays` thin rays round a foot of 20 mm radius."""
    turn = np.arange(2 * rays) * math.pi / rays
    reach = 20.0 + np.where(np.arange(2 * rays) % 2, long_mm, 0.0)
    return prism(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]).tolist(), high_mm)


def tapered(solid: Triangles) -> Triangles:
    """No two layers are alike."""
    return solid * np.stack([1.0 - solid[..., 2] / 400.0] * 2 + [np.ones(solid.shape[:2])], axis=-1)


def test_layers_that_are_alike_share_a_cut_and_the_others_have_their_own() -> None:
    stack = layer_stack(np.concatenate([cube(10.0), moved(cube(4.0), 0.0, 0.0, 10.0)]), SETTINGS)
    assert (len(stack.cuts), stack.stride) == (2, 1)
    assert [cut.united_mm2 for cut in stack.cuts] == pytest.approx([100.0, 16.0])
    below = int((stack.run == 0).sum())
    assert stack.heights_mm[below - 1] < 10.0 <= stack.heights_mm[below]
    stack = layer_stack(cone(10.0, 30.0), SETTINGS)
    assert len(stack.cuts) == len(stack.heights_mm)


def test_a_tall_cylinder_of_100_000_facets_has_one_cut_and_takes_no_time() -> None:
    solid = cylinder(20.0, 300.0, 25_000)
    began = time.process_time()
    stack = layer_stack(solid, SETTINGS)
    assert time.process_time() - began < 2.0
    # 0.3 + 1498 · 0.2 = 299.9 mm; the middle of the next layer would lie at 300.0, no longer inside.
    assert (len(stack.cuts), len(stack.heights_mm)) == (1, 1499)
    assert stack.cuts[0].united_mm2 == pytest.approx(400 * math.pi, rel=1e-6)


def test_layers_share_cuts_where_their_polygons_would_cost_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    solid = tapered(star(500, 5.0, 20.0))
    assert layer_stack(solid, SETTINGS).stride == 1
    monkeypatch.setattr(print_layers, "MOST_WORK", 3e6)
    stack = layer_stack(solid, SETTINGS)
    assert stack.stride > 1
    assert len(stack.cuts) == math.ceil(len(stack.heights_mm) / stack.stride)
    assert stack.run.tolist() == (np.arange(len(stack.run)) // stack.stride).tolist()


def test_layers_share_cuts_where_their_corners_would_take_too_much_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    solid = tapered(cylinder(20.0, 40.0, 100))
    whole = layer_stack(solid, SETTINGS)
    # Taking out corners that lie nearer than 0.005 mm to their neighbours' line leaves some; half of that is allowed.
    corners = sum(cut.region.num_vert() for cut in whole.cuts)
    monkeypatch.setattr(print_layers, "MOST_CORNERS", corners // 2 + 100)
    halved = layer_stack(solid, SETTINGS)
    assert (whole.stride, halved.stride, len(halved.cuts)) == (1, 2, math.ceil(len(whole.cuts) / 2))
    assert halved.run.max() == len(halved.cuts) - 1
    monkeypatch.setattr(print_layers, "MOST_CORNERS", 1)
    assert len(layer_stack(solid, SETTINGS).cuts) == 1


def test_a_mesh_so_rough_that_a_few_cuts_would_take_minutes_is_refused_at_once() -> None:
    solid = tapered(star(20_000, 20.0, 100.0))
    began = time.process_time()
    with pytest.raises(BadMesh, match="rough"):
        layer_stack(solid, SETTINGS)
    assert time.process_time() - began < 5.0


def test_rough_cuts_lose_corners_and_keep_their_area() -> None:
    # 20,000 corners on a circle, in and out by 0.012 mm: simplified, and the area is still that of the cut.
    turn = np.arange(20_000) * 2 * math.pi / 20_000
    reach = 30.0 + 0.012 * (np.arange(20_000) % 2)
    solid = prism(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]).tolist(), 5.0)
    cut = layer_stack(solid, SETTINGS).cuts[0]
    assert cut.region.num_vert() < print_layers.MANY_CORNERS
    # A star of 2n triangles of sides a and b: n·a·b·sin(2π/2n).
    assert cut.united_mm2 == pytest.approx(10_000 * 30.0 * 30.012 * math.sin(math.pi / 10_000), rel=1e-9)
    assert cut.region.area() == pytest.approx(cut.united_mm2, rel=2e-3)


def test_a_ball_has_a_cut_for_each_layer() -> None:
    stack = layer_stack(sphere(10.0, 48), SETTINGS)
    squared = 100 - (stack.heights_mm - 10.0) ** 2
    assert [cut.united_mm2 for cut in stack.cuts] == pytest.approx(math.pi * squared, rel=1e-2, abs=2.0)

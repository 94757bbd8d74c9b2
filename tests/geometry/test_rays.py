"""Rays through meshes, closed and open, against closed forms and hand-made damage."""

import math
import tracemalloc

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import BadMesh
from register.estimate.printed import estimate_printed
from register.geometry.meshes import Mesh, read_mesh
from register.geometry.open_meshes import Looked, looked_through, made_whole, rebuilt
from register.geometry.ray_votes import facing_wrong, inside_of
from register.geometry.rays import crossings_of, lattice_for
from register.geometry.topology import is_closed, merged_corners, middle_of
from tests.damaged_meshes import damages, solids
from tests.geometry.stl_bytes import Triangles, binary, box, cone, cube, cylinder, inside_out, moved, sphere

# Source of the density: NatureWorks Ingeo 4043D technical data sheet, ASTM D792.
PLA = Material("PLA", Form.FILAMENT, 1.24, "data sheet", cost_per_kg_cents=2000)
PRINTER = Machine("printer", Process.PRINTED, (250.0, 250.0, 250.0), cost_per_h_cents=60)
SOUND = solids()
# Base of the faceted cylinders below: (n/2)·r²·sin(2π/n) with n = 64, r = 10, closed form.
BASE_MM2 = 32 * 100 * math.sin(2 * math.pi / 64)


def looked(triangles: Triangles) -> Looked:
    found = looked_through(*merged_corners(triangles))
    assert found is not None
    return found


def volume_mm3(triangles: Triangles) -> float:
    """Signed volume, by the divergence theorem."""
    a, b, c = np.moveaxis(triangles - middle_of(triangles), 1, 0)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def rebuilt_mm3(triangles: Triangles) -> float:
    return volume_mm3(rebuilt(looked(triangles)))


def read(triangles: Triangles) -> Mesh:
    return read_mesh(binary(triangles), "part")


def test_every_ray_through_a_box_enters_at_one_face_and_leaves_at_the_other() -> None:
    solid = moved(box(40.0, 30.0, 20.0), 7.0, -3.0, 11.0)
    axes = lattice_for(solid, 20_000)
    assert axes is not None
    low, high = (7.0, -3.0, 11.0), (47.0, 27.0, 31.0)
    for crossings in crossings_of(solid, axes):
        across, along = ((crossings.direction + step) % 3 for step in (1, 2))
        assert np.array_equal(crossings.ray, np.repeat(np.arange(len(axes[across]) * len(axes[along])), 2))
        assert crossings.at_mm[::2] == pytest.approx(low[crossings.direction])
        assert crossings.at_mm[1::2] == pytest.approx(high[crossings.direction])
        assert crossings.enters[::2].all()
        assert not crossings.enters[1::2].any()


def test_rays_cross_a_cylinder_where_its_facets_stand() -> None:
    # A ray along z at radius below the inradius goes through both caps, one beyond the radius through nothing.
    solid = cylinder(10.0, 30.0)
    axes = lattice_for(solid, 50_000)
    assert axes is not None
    upright = crossings_of(solid, axes)[2]
    counts = np.bincount(upright.ray, minlength=len(axes[0]) * len(axes[1])).reshape(len(axes[0]), len(axes[1]))
    radius = np.hypot(axes[0][:, None], axes[1][None, :])
    assert (counts[radius < 10.0 * math.cos(math.pi / 64)] == 2).all()
    assert (counts[radius > 10.0] == 0).all()


@pytest.mark.parametrize(
    ("solid", "exact_mm3", "within"),
    [
        (box(40.0, 30.0, 20.0), 24_000.0, 1e-4),
        (cylinder(10.0, 30.0), BASE_MM2 * 30.0, 1e-3),
        (cone(10.0, 30.0), BASE_MM2 * 10.0, 1e-3),
        # The facets of this ball themselves lie 0.5 ‰ below the closed form.
        (sphere(10.0, 256), 4 / 3 * math.pi * 1000.0, 1.5e-3),
    ],
    ids=["box", "cylinder", "cone", "sphere"],
)
def test_a_surface_rebuilt_from_rays_has_the_volume_of_its_closed_form(
    solid: Triangles, exact_mm3: float, within: float
) -> None:
    assert rebuilt_mm3(solid) == pytest.approx(exact_mm3, rel=within)


@pytest.mark.parametrize("name", SOUND)
def test_rays_find_the_signed_volume_of_a_closed_mesh_and_doubt_nothing(name: str) -> None:
    found = looked(SOUND[name])
    surface = rebuilt(found)
    assert (found.inside.unsure, found.inside.missed, found.differs, found.turned) == (0.0, 0.0, 0.0, ())
    assert volume_mm3(surface) == pytest.approx(volume_mm3(SOUND[name]), rel=5e-3)
    assert is_closed(merged_corners(surface)[1])


@pytest.mark.parametrize("order", [(1, 2, 0), (2, 0, 1)])
def test_rays_do_not_care_which_axis_is_which(order: tuple[int, int, int]) -> None:
    solid = SOUND["bracket"]
    axes = lattice_for(solid, 100_000)
    assert axes is not None
    turned_axes = (axes[order[0]], axes[order[1]], axes[order[2]])
    found, turned = crossings_of(solid, axes), crossings_of(solid[..., order], turned_axes)
    for direction in range(3):
        assert np.array_equal(turned[direction].ray, found[order[direction]].ray)
        assert turned[direction].at_mm == pytest.approx(found[order[direction]].at_mm)
    assert np.array_equal(inside_of(turned, turned_axes).solid, inside_of(found, axes).solid.transpose(order))
    assert rebuilt_mm3(solid[..., order]) == pytest.approx(rebuilt_mm3(solid), rel=1e-3)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**20))
def test_any_one_facet_missing_from_a_sphere_changes_its_mass_by_less_than_a_hundredth(number: int) -> None:
    whole = sphere(10.0, 32)
    holed = read(np.delete(whole, number % len(whole), axis=0))
    assert not holed.closed
    masses = [estimate_printed(mesh, PLA, PRINTER, PrintSettings()).mass_g for mesh in (holed, read(whole))]
    assert masses[0] == pytest.approx(masses[1], rel=0.01)


def test_a_cylinder_without_a_ring_of_its_wall_is_whole_again() -> None:
    lower, upper = cylinder(10.0, 12.0), moved(cylinder(10.0, 13.0), 0, 0, 17.0)
    wall = np.concatenate([lower[~(lower[..., 2] == 12.0).all(axis=1)], upper[~(upper[..., 2] == 17.0).all(axis=1)]])
    mesh = read(wall)
    # Flat patches would leave out the 5 mm between: a sixth.
    assert mesh.volume_mm3 == pytest.approx(BASE_MM2 * 30.0, rel=0.01)
    assert (mesh.closed, mesh.bodies, mesh.facets, mesh.patches) == (False, 1, len(wall), 0)
    # Two caps and 25 mm of 64 facets of 2·r·sin(π/64) each: what the file holds.
    assert mesh.area_mm2 == pytest.approx(2 * BASE_MM2 + 25 * 64 * 20 * math.sin(math.pi / 64), rel=1e-6)
    assert "new surface" in mesh.warnings[0]


def test_faces_that_do_not_meet_and_face_anyhow_still_make_a_box() -> None:
    whole, shrunk = box(40.0, 30.0, 20.0), []
    for face in range(6):
        axis, end = face % 3, whole[..., face % 3].max() * (face // 3)
        part = whole[(whole[..., axis] == end).all(axis=1)]
        middle = part.reshape(-1, 3).mean(axis=0)
        part = middle + (part - middle) * 0.995
        shrunk.append(part[:, ::-1] if face in (1, 3, 4) else part)
    mesh = read(np.concatenate(shrunk))
    assert mesh.volume_mm3 == pytest.approx(24_000.0, rel=0.01)
    assert any("turned" in warning for warning in mesh.warnings)


def test_two_halves_that_miss_each_other_get_no_wall_between_them() -> None:
    whole = cylinder(10.0, 15.0)
    lower, upper = whole[~(whole[..., 2] == 15.0).all(axis=1)], moved(whole, 0, 0, 15.1)
    upper = upper[~(upper[..., 2] == 15.1).all(axis=1)]
    sound = estimate_printed(read(cylinder(10.0, 30.1)), PLA, PRINTER, PrintSettings())
    found = estimate_printed(read(np.concatenate([lower, upper])), PLA, PRINTER, PrintSettings())
    # Patches would lay solid layers on both sides of the seam, about a quarter more.
    assert found.mass_g == pytest.approx(sound.mass_g, rel=0.01)
    assert found.volumes_mm3.solid_layers == pytest.approx(sound.volumes_mm3.solid_layers, rel=0.05)


def test_an_inside_out_mesh_with_a_hole_is_turned() -> None:
    mesh = read(inside_out(cylinder(10.0, 30.0))[1:])
    assert mesh.volume_mm3 == pytest.approx(BASE_MM2 * 30.0, rel=0.01)
    assert "inside out" in mesh.warnings[0]


def test_a_hollow_whose_facets_do_not_meet_stays_hollow() -> None:
    shell = np.concatenate([cube(30.0), moved(inside_out(cube(20.0)), 5.0, 5.0, 5.0)])
    assert read(shell[:-1]).volume_mm3 == pytest.approx(27_000.0 - 8_000.0, rel=1e-3)
    assert rebuilt_mm3(shell[:-1]) == pytest.approx(27_000.0 - 8_000.0, rel=1e-2)


def test_walls_much_thinner_than_the_part_are_not_lost_between_rays() -> None:
    # 180 × 120 × 60 mm with 1.6 mm walls: steps of the first lattice would be 1.4 mm.
    whole = SOUND["housing"]
    assert looked(whole).inside.solid.size > 1_500_000
    assert rebuilt_mm3(whole[5:]) == pytest.approx(volume_mm3(whole), rel=5e-3)


def test_a_cone_without_its_side_is_refused_with_a_cure() -> None:
    ends = damages()["curved face missing"](SOUND["cone"], np.random.default_rng(7))
    assert len(ends) > 50
    with pytest.raises(BadMesh, match="so much is missing") as refused:
        read(ends)
    assert refused.value.cure.endswith(".")


def test_facets_that_hold_nothing_are_refused() -> None:
    with pytest.raises(BadMesh, match="not a body"):
        read(np.array([[[0.0, 0, 0], [9, 0, 0], [0, 9, 1]], [[50, 0, 9], [59, 0, 9], [50, 9, 2]]]))


def test_the_more_is_missing_the_wider_is_the_range() -> None:
    whole = SOUND["tray"]
    few, strip = (damages()[kind](whole, np.random.default_rng(7)) for kind in ("one facet missing", "cap missing"))
    closed, little, much = (estimate_printed(read(each), PLA, PRINTER, PrintSettings()) for each in (whole, few, strip))
    widths = [each.duration_high_s / each.duration_low_s for each in (closed, little, much)]
    assert widths[0] < widths[1] < widths[2]
    assert "may be off by about 2 %" in little.warnings[0]


@pytest.mark.parametrize("kind", damages())
@pytest.mark.parametrize("name", ["sphere", "hollow box", "bracket"])
def test_a_damaged_solid_has_nearly_its_volume_or_says_how_far_it_may_be_off(name: str, kind: str) -> None:
    damaged = damages()[kind](SOUND[name], np.random.default_rng(7))
    if len(damaged) < 20:
        return  # a sphere is one curved face: nothing is left of it
    mesh = read(damaged)
    off = abs(math.log(mesh.volume_mm3 / volume_mm3(SOUND[name])))
    assert off < 0.01 + 2.0 * mesh.doubt
    assert (mesh.doubt > 0.0) == (not mesh.closed)


def test_facets_too_thick_to_look_through_are_patched_and_much_doubted() -> None:
    # 8,000 boxes one in another: a ray of the coarsest lattice, 16 × 16, crosses a third of 16,000 facets, which makes
    # 1.4 million crossings; a million are allowed.
    shells = np.concatenate([moved(cube(40.0 - 0.005 * i), *[0.0025 * i] * 3) for i in range(8000)])
    points, faces = merged_corners(shells[1:])
    mended = made_whole(points, faces, "onion")
    assert mended.doubt == 0.25
    assert "too thick" in mended.warnings[0]
    assert lattice_for(shells, 1000) is None


def test_a_large_open_mesh_takes_little_memory_beside_its_own() -> None:
    mesh = manifold3d.Manifold.sphere(40.0, 600).to_mesh()
    triangles = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3][np.asarray(mesh.tri_verts)][7:]
    body = np.zeros(len(triangles), dtype=np.int32)
    tracemalloc.start()
    axes = lattice_for(triangles, 500_000)
    assert axes is not None
    found = crossings_of(triangles, axes)
    facing_wrong(found, body)
    inside_of(found, axes)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 100e6

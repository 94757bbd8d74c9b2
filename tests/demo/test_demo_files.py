"""The demo shop's STL and DXF files: real geometry, with the volumes and areas that it was drawn to."""

import math
import subprocess
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh
from ezdxf import path as dxf_path
from manifold3d import Error, Manifold, Mesh
from shapely.geometry import LinearRing, Point, Polygon

from register.geometry.drawings import read_drawing
from register.geometry.meshes import read_mesh
from register.geometry.plates import plate_from_mesh

DEMO = Path(__file__).parents[2] / "demo_parts"
STLS = sorted(path.name for path in DEMO.glob("*.stl"))
DXFS = sorted(path.name for path in DEMO.glob("*.dxf"))


def solid(name: str, folder: Path = DEMO) -> trimesh.Trimesh:
    return trimesh.load(folder / name, file_type="stl")


def polygon_area(facets: int, across: float) -> float:
    """Area of a regular polygon with its corners on a circle `across` wide: n/2 · r² · sin(2π/n)."""
    return facets / 2 * (across / 2) ** 2 * math.sin(2 * math.pi / facets)


def corner_loss(radius: float, turn_deg: float = 90.0) -> float:
    """What rounding a corner takes away: r² (tan(φ/2) − φ/2) for a turn of φ; at 90° r² (1 − π/4)."""
    half = math.radians(turn_deg) / 2
    return radius**2 * (math.tan(half) - half)


def drawing_area(name: str, folder: Path = DEMO) -> float:
    outlines, cut = [], 0.0
    for entity in ezdxf.readfile(folder / name).modelspace():
        if entity.dxftype() == "CIRCLE":
            cut += math.pi * entity.dxf.radius**2
            continue
        area = Polygon((v.x, v.y) for v in dxf_path.make_path(entity).flattening(0.0005)).area
        if entity.dxf.layer == "OUTLINE":
            outlines.append(area)
        else:
            cut += area
    assert len(outlines) == 1
    return outlines[0] - cut


@pytest.mark.parametrize("name", STLS)
def test_every_solid_is_one_closed_body_of_fine_but_few_facets(name: str) -> None:
    mesh = solid(name)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    body = Manifold(Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    assert body.status() == Error.NoError
    assert len(body.decompose()) == 1
    assert 100 < len(mesh.faces) <= 20_000
    content = (DEMO / name).read_bytes()
    assert not content.startswith(b"solid")
    assert len(content) == 84 + 50 * len(mesh.faces)


def test_hubs_have_the_volume_of_their_discs_less_their_holes() -> None:
    # Flange 70 × 8 (96 facets), boss 30 (64 facets), six bolt holes 5.3 through the flange (32 facets),
    # and a hexagonal bore of 12 mm across flats: area 12² · √3/2.
    for name, boss_mm in (("wheel-hub-a.stl", 24), ("wheel-hub-b.stl", 28)):
        expected = polygon_area(96, 70) * 8 + polygon_area(64, 30) * (boss_mm - 8)
        expected -= 6 * polygon_area(32, 5.3) * 8 + 144 * math.sqrt(3) / 2 * boss_mm
        assert solid(name).volume == pytest.approx(expected, rel=1e-5)


def test_pulleys_have_the_volume_of_a_disc_less_its_groove() -> None:
    # At every height a 64-sided ring of radius R(z): A = 32 sin(2π/64) R². ∫R² dz over 12 mm: two rims of 2 mm at 20,
    # two flanks of 3.5 mm from 20 to 14.5 (a frustum: h/3 (R² + Rr + r²)), and 1 mm at 14.5 in the groove.
    squares = 2 * 2 * 20**2 + 2 * 3.5 / 3 * (20**2 + 20 * 14.5 + 14.5**2) + 14.5**2
    for name, bore_mm in (("cable-pulley-a.stl", 6), ("cable-pulley-b.stl", 8)):
        expected = 32 * math.sin(2 * math.pi / 64) * (squares - 12 * (bore_mm / 2) ** 2)
        expected -= 4 * polygon_area(32, 5) * 12
        assert solid(name).volume == pytest.approx(expected, rel=1e-5)


def test_scoop_lips_differ_only_in_where_the_right_bolt_goes() -> None:
    # Side view by trapezoids: 32 · (0.8 + 5)/2 + 6 · (5 + 9)/2 + 4 · 32 = 262.8 mm², 120 mm wide. Each of five gaps
    # takes 10 mm × the blade from x = 34 (0.8 + 4.2 · 8/32 = 1.85 thick) to 42 (0.8): 8 · 1.325 mm².
    expected = 262.8 * 120 - 5 * 10 * 8 * 1.325 - 3 * polygon_area(32, 5.2) * 4
    a, b = solid("scoop-lip-a.stl"), solid("scoop-lip-b.stl")
    assert a.volume == pytest.approx(expected, rel=1e-5)
    assert b.volume == pytest.approx(expected, rel=1e-5)
    assert a.extents == pytest.approx([120, 42, 32])
    bolts_mm = [(15, 60, 105), (15, 60, 99)]
    for mesh, centres in zip((a, b), bolts_mm, strict=True):
        wall = [v for v in mesh.vertices.tolist() if v[1] == 0 and 19 < v[2] < 25]
        for x in centres:
            rim = [v for v in wall if math.hypot(v[0] - x, v[2] - 22) == pytest.approx(2.6, abs=1e-3)]
            assert len(rim) == 32
        assert len(wall) == 3 * 32


def test_dust_duct_has_the_volume_of_tube_and_flange_and_needs_more_than_a_saturday_to_print() -> None:
    # Flange 100² less 4 corners of R8 in chords (16 a quarter) and 4 bolt holes, 5 thick; tube 80/74, 96 facets, 170.
    rounded_off = 4 * (8**2 - 16 / 2 * 8**2 * math.sin(math.pi / 2 / 16))
    flange = 100**2 - rounded_off - 4 * polygon_area(32, 5.3) - polygon_area(96, 74)
    tube = polygon_area(96, 80) - polygon_area(96, 74)
    assert solid("dust-duct-a.stl").volume == pytest.approx(flange * 5 + tube * 165, rel=1e-5)
    # The tube's wall is solid. At the shop's line of 0.45 × 0.2 mm laid at 45 mm/s it alone takes
    # 119,700 mm³ / 4.05 mm³/s = 29,600 s, without any slowing down; the longest attended day has 7 h = 25,200 s.
    assert tube * 165 / (0.45 * 0.2 * 45) > 7 * 3600


def test_camera_bracket_gains_ribs_and_nothing_else() -> None:
    # Side view: 60 · 5 + 50 · 5 + 6²/2 = 568 mm², 45 wide. Holes: 4 × 4.4 through 5, 2 × 3.4 and 6.5 through 5.
    holes = 4 * polygon_area(32, 4.4) + 2 * polygon_area(32, 3.4) + polygon_area(32, 6.5)
    expected = 568 * 45 - holes * 5
    assert solid("camera-bracket-a.stl").volume == pytest.approx(expected, rel=1e-5)
    # Each rib: the triangle (5, 5), (40, 5), (5, 45) less the fillet that is there already, 3 thick.
    assert solid("camera-bracket-b.stl").volume == pytest.approx(expected + 2 * 3 * (35 * 40 / 2 - 18), rel=1e-5)


def test_tread_insert_is_pad_chevrons_and_pegs() -> None:
    # Pad 60 × 24 × 4 with R4 corners in chords; a chevron is two parallelograms 4 × 12, 3 high; two pegs 6 × 5.
    rounded_off = 4 * (4**2 - 16 / 2 * 4**2 * math.sin(math.pi / 2 / 16))
    expected = (60 * 24 - rounded_off) * 4 + 4 * 96 * 3 + 2 * polygon_area(32, 6) * 5
    assert solid("tread-insert-a.stl").volume == pytest.approx(expected, rel=1e-5)


def test_deck_plate_is_an_eighth_of_an_inch_thick_and_has_its_holes_and_slots() -> None:
    rounded_off = 4 * (10**2 - 16 / 2 * 10**2 * math.sin(math.pi / 2 / 16))
    slot = 40 * 8 + polygon_area(64, 8)  # its ends are drawn in chords of a 64-sided circle
    area = 240 * 160 - rounded_off - 12 * polygon_area(32, 5.2) - polygon_area(64, 40) - 2 * slot
    mesh = solid("deck-plate-a.stl")
    assert mesh.extents == pytest.approx([240, 160, 3.175], abs=1e-4)
    assert mesh.volume == pytest.approx(area * 3.175, rel=1e-5)


def test_side_plates_have_the_area_of_their_outline_less_windows_slots_and_holes() -> None:
    # Outline: 420 × 140 less two triangles 60 × 50. Corners: R20 at 90° twice; at (420, 90) the turn is
    # 90° − atan(60/50) … = the angle between straight up and the slope (−60, 50); at (360, 140) the rest of 90°.
    up_to_slope = math.degrees(math.atan2(60, 50))
    outline = 420 * 140 - 2 * 60 * 50 / 2
    outline -= 2 * (corner_loss(20) + corner_loss(15, up_to_slope) + corner_loss(20, 90 - up_to_slope))
    # Four windows: right triangles 80 × 76 with R6; a corner of inner angle α turns by 180° − α.
    alpha = math.degrees(math.atan2(76, 80))
    window = 80 * 76 / 2 - corner_loss(6) - corner_loss(6, 180 - alpha) - corner_loss(6, 90 + alpha)
    slot = 30 * 6 + math.pi * 3**2
    holes = math.pi / 4 * (2 * 22**2 + 8 * 4.3**2 + 10 * 5.2**2)
    expected = outline - 4 * window - 2 * slot - holes
    assert drawing_area("side-plate-a.dxf") == pytest.approx(expected, rel=1e-5)
    assert drawing_area("side-plate-b.dxf") == pytest.approx(expected - 4 * math.pi / 4 * 5.2**2, rel=1e-5)


def test_gusset_has_its_area() -> None:
    # A square of 90 less the triangle 70 × 70; turns of 90°, 90°, 45°, 45°, 90°, all R6.
    outline = 90**2 - 70**2 / 2 - 3 * corner_loss(6) - 2 * corner_loss(6, 45)
    expected = outline - math.pi / 4 * (4 * 5.2**2 + 22**2)
    assert drawing_area("gusset-a.dxf") == pytest.approx(expected, rel=1e-5)


def test_electronics_panel_has_its_area() -> None:
    window = 24 * 60 - 4 * corner_loss(4)
    slots = 2 * (40 * 8 + math.pi * 4**2)
    holes = math.pi / 4 * (4 * 4.3**2 + 8 * 3.2**2)
    expected = 180 * 120 - 4 * corner_loss(8) - window - slots - holes
    assert drawing_area("electronics-panel-a.dxf") == pytest.approx(expected, rel=1e-5)


def test_sample_tray_has_its_area() -> None:
    handles = 2 * (60 * 22 + math.pi * 11**2)
    holes = math.pi / 4 * (6 * 54**2 + 4 * 4.2**2)
    expected = 300 * 200 - 4 * corner_loss(15) - handles - holes
    assert drawing_area("sample-tray-a.dxf") == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("name", DXFS)
def test_every_drawing_says_millimetres_and_leaves_a_web_round_every_hole(name: str) -> None:
    drawing = ezdxf.readfile(DEMO / name)
    assert drawing.dxfversion >= "AC1015"  # R2000
    assert drawing.header["$INSUNITS"] == 4  # millimetres
    rings, outline = [], None
    for entity in drawing.modelspace():
        if entity.dxftype() == "CIRCLE":
            centre = entity.dxf.center
            rings.append(Point(centre.x, centre.y).buffer(entity.dxf.radius, quad_segs=32))
            continue
        assert entity.dxftype() == "LWPOLYLINE"
        assert entity.closed
        shape = Polygon((v.x, v.y) for v in dxf_path.make_path(entity).flattening(0.01))
        assert shape.is_valid
        if entity.dxf.layer == "OUTLINE":
            outline = shape
        else:
            rings.append(shape)
    assert outline is not None
    rim = LinearRing(outline.exterior)
    for place, ring in enumerate(rings):
        assert outline.contains(ring)
        assert rim.distance(ring) > 3
        assert all(ring.distance(other) > 3 for other in rings[:place])


@pytest.mark.parametrize("name", STLS)
def test_the_register_reads_every_solid_without_a_warning(name: str) -> None:
    mesh = read_mesh((DEMO / name).read_bytes(), name)
    assert (mesh.closed, mesh.bodies, mesh.warnings) == (True, 1, ())
    assert mesh.volume_mm3 == pytest.approx(solid(name).volume, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "holes", "slots"),
    [
        # Two axle bores, eight bolts round them, ten frame bolts, and in B four more; four windows and two slots.
        ("side-plate-a.dxf", 20, 6),
        ("side-plate-b.dxf", 24, 6),
        ("gusset-a.dxf", 5, 0),
        ("electronics-panel-a.dxf", 12, 3),
        ("sample-tray-a.dxf", 10, 2),
    ],
)
def test_the_register_counts_every_hole_and_slot_of_a_drawing(name: str, holes: int, slots: int) -> None:
    plate = read_drawing((DEMO / name).read_bytes(), name)
    assert (len(plate.holes), plate.slots, plate.warnings) == (holes, slots, ())
    assert plate.outline.area == pytest.approx(drawing_area(name), rel=1e-4)


def test_the_register_sees_a_plate_in_the_deck_solid() -> None:
    plate = plate_from_mesh(read_mesh((DEMO / "deck-plate-a.stl").read_bytes(), "deck-plate-a.stl"))
    assert plate.thickness_mm == pytest.approx(3.175, abs=1e-4)
    assert (len(plate.holes), plate.slots, plate.pockets, plate.warnings) == (13, 2, (), ())


def test_all_files_together_are_small() -> None:
    assert sum(path.stat().st_size for path in DEMO.iterdir() if path.is_file()) < 1_500_000


def test_drawing_again_gives_the_same_parts(tmp_path: Path) -> None:
    for folder in ("first", "second"):
        run = [sys.executable, str(DEMO / "draw.py"), str(tmp_path / folder)]
        assert (
            f"{len(STLS) + len(DXFS)} files" in subprocess.run(run, check=True, capture_output=True, text=True).stdout
        )
    for name in (*STLS, *DXFS):
        assert (tmp_path / "first" / name).read_bytes() == (tmp_path / "second" / name).read_bytes()
    # Against the files that are kept only what they mean is compared: another version of a library may cut a face into
    # other triangles, or write another header.
    for name in STLS:
        drawn, kept = solid(name, tmp_path / "first"), solid(name)
        assert drawn.volume == pytest.approx(kept.volume, rel=1e-6)
        assert drawn.area == pytest.approx(kept.area, rel=1e-6)
        assert drawn.bounds == pytest.approx(kept.bounds, abs=1e-4)
    for name in DXFS:
        assert drawing_area(name, tmp_path / "first") == pytest.approx(drawing_area(name), rel=1e-9)

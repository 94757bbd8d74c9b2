"""`pitwright estimate`: the keys that other programs read, and figures that agree with closed forms."""

import io
import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from tests.cli.command_line import DEMO_PARTS, command, program, two_sentences
from tests.geometry.stl_bytes import binary, circle_points, cube, extruded, prism

# The keys of the design, word for word.
PRINTED_KEYS = {
    *("process", "sha256", "triangles", "size_mm", "solid_volume_mm3", "surface_area_mm2", "closed", "bodies"),
    *("material", "settings", "machine", "layers", "volumes_mm3", "mass_g", "filament_mm"),
    *("duration_s", "duration_low_s", "duration_high_s", "cost_cents", "warnings"),
}
VOLUME_KEYS = {"contours", "solid_layers", "infill", "support", "bed_edge", "total"}
ROUTED_KEYS = {
    *("process", "thickness_mm", "outline_area_mm2", "outer_perimeter_mm", "holes", "slots", "pockets", "tool"),
    *("passes", "cut_length_mm", "mass_g", "duration_s", "duration_low_s", "duration_high_s", "cost_cents"),
    "warnings",
}
HOLE_KEYS = {"diameter_mm", "x_mm", "y_mm"}
# Source: NatureWorks Ingeo 4043D technical data sheet, ASTM D792.
PLA_G_CM3 = 1.24
# Source: amesweb.info material tables, aluminium 6061.
ALUMINIUM_G_CM3 = 2.70

PLATE_MM = (200.0, 120.0)
# Diameter and centre of each hole.
HOLES_MM = ((40.0, 100.0, 60.0), (8.0, 20.0, 100.0), (5.2, 20.0, 20.0), (5.2, 180.0, 20.0))


def plate_drawing(*layer_and_text: str) -> bytes:
    """A DXF of the plate with its holes, in mm."""
    drawing = ezdxf.new(units=4)
    space = drawing.modelspace()
    x, y = PLATE_MM
    space.add_lwpolyline([(0, 0), (x, 0), (x, y), (0, y)], close=True)
    for diameter, at_x, at_y in HOLES_MM:
        space.add_circle((at_x, at_y), diameter / 2)
    for text in layer_and_text:
        space.add_text(text)
    written = io.StringIO()
    drawing.write(written)
    return written.getvalue().encode()


def written(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    return str(path)


def demo_files(kind: str) -> list[str]:
    return sorted(path.name for path in DEMO_PARTS.glob(f"*.{kind}"))


def routed(tmp_path: Path, content: bytes, name: str, *words: str) -> Any:
    return command("estimate", written(tmp_path / name, content), "--process", "routed", *words, "--json").json


@pytest.mark.parametrize("name", demo_files("stl"))
def test_every_demo_mesh_gives_the_printed_keys(name: str) -> None:
    shop = ("--shop", str(DEMO_PARTS / "shop.toml"))
    made = command(
        "estimate", str(DEMO_PARTS / name), "--process", "printed", "--material", "PLA", *shop, "--json"
    ).json
    assert set(made) >= PRINTED_KEYS
    assert set(made["volumes_mm3"]) == VOLUME_KEYS
    assert made["process"] == "printed" and made["closed"] is True and made["triangles"] > 0
    assert made["duration_low_s"] < made["duration_s"] < made["duration_high_s"]


@pytest.mark.parametrize("name", [*demo_files("dxf"), "deck-plate-a.stl"])
def test_every_demo_drawing_and_plate_gives_the_routed_keys(name: str) -> None:
    made = command("estimate", str(DEMO_PARTS / name), "--process", "routed", "--material", "6061 6 mm", "--json")
    if name.endswith(".stl"):
        # A mesh has its own thickness, 3.175 mm, so another one is questioned and not taken in silence.
        assert made.code == 3 or made.json["warnings"]
        made = command(
            "estimate", str(DEMO_PARTS / name), "--process", "routed", "--material", "6061 3.175 mm", "--json"
        )
    assert set(made.json) >= ROUTED_KEYS
    assert all(set(hole) == HOLE_KEYS for hole in made.json["holes"])
    assert made.json["process"] == "routed" and made.json["holes"]
    assert made.json["duration_low_s"] < made.json["duration_s"] < made.json["duration_high_s"]


def test_cube_through_the_program_itself_is_what_geometry_says(tmp_path: Path) -> None:
    said = program("estimate", written(tmp_path / "cube.stl", binary(cube(20.0))), "--material", "PLA", "--json")
    assert said.err == ""
    made = said.json
    assert made["solid_volume_mm3"] == pytest.approx(20.0**3, rel=1e-5)
    assert made["surface_area_mm2"] == pytest.approx(6 * 20.0**2, rel=1e-5)
    assert made["size_mm"] == pytest.approx([20.0, 20.0, 20.0])
    assert (made["triangles"], made["bodies"]) == (12, 1)
    # 20 mm in layers of 0.2 mm.
    assert made["layers"] == 100
    assert sum(made["volumes_mm3"].values()) == pytest.approx(2 * made["volumes_mm3"]["total"], rel=1e-5)


def test_cube_of_solid_layers_weighs_its_volume_times_the_published_density(tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(20.0)))
    made = command("estimate", file, "--material", "PLA", "--settings", "solid_top_layers=100", "--json").json
    assert made["volumes_mm3"]["total"] == pytest.approx(8000.0, rel=1e-5)
    assert made["mass_g"] == pytest.approx(8.0 * PLA_G_CM3, rel=1e-5)


@pytest.mark.parametrize("facets", [3, 7, 48])
def test_prism_of_known_facets_has_the_volume_of_its_facets(tmp_path: Path, facets: int) -> None:
    radius_mm, height_mm = 15.0, 12.0
    file = written(tmp_path / "prism.stl", binary(prism(circle_points(radius_mm, facets), height_mm)))
    made = command("estimate", file, "--material", "PLA", "--json").json
    # A regular polygon of n corners on a circle: n/2 · r² · sin(2π/n).
    area_mm2 = facets / 2 * radius_mm**2 * math.sin(2 * math.pi / facets)
    sides_mm2 = facets * 2 * radius_mm * math.sin(math.pi / facets) * height_mm
    assert made["solid_volume_mm3"] == pytest.approx(area_mm2 * height_mm, rel=1e-5)
    assert made["surface_area_mm2"] == pytest.approx(2 * area_mm2 + sides_mm2, rel=1e-5)


@pytest.mark.parametrize("kind", ["dxf", "stl"])
def test_plate_with_holes_has_the_area_perimeter_and_mass_of_its_closed_form(tmp_path: Path, kind: str) -> None:
    x, y = PLATE_MM
    if kind == "dxf":
        content = plate_drawing()
        drilled_mm2 = sum(math.pi * diameter**2 / 4 for diameter, _, _ in HOLES_MM)
    else:
        # A hole of 96 facets takes out the polygon on its circle: n/2 · r² · sin(2π/n).
        rings = [circle_points(diameter / 2, 96, (at_x, at_y))[::-1] for diameter, at_x, at_y in HOLES_MM]
        content = binary(extruded([[(0, 0), (x, 0), (x, y), (0, y)], *rings], 3.175))
        drilled_mm2 = sum(48 * (diameter / 2) ** 2 * math.sin(2 * math.pi / 96) for diameter, _, _ in HOLES_MM)
    made = routed(tmp_path, content, f"plate.{kind}", "--material", "6061 3.175 mm")
    assert made["thickness_mm"] == pytest.approx(3.175, rel=1e-4)
    assert made["outer_perimeter_mm"] == pytest.approx(2 * (x + y), rel=1e-4)
    assert x * y - made["outline_area_mm2"] == pytest.approx(drilled_mm2, rel=1e-4)
    assert made["mass_g"] == pytest.approx((x * y - drilled_mm2) * 3.175 * ALUMINIUM_G_CM3 / 1000, rel=1e-5)
    found = sorted((hole["diameter_mm"], hole["x_mm"], hole["y_mm"]) for hole in made["holes"])
    assert found == [pytest.approx(hole, rel=1e-4) for hole in sorted(HOLES_MM)]


def test_a_kilogram_of_filament_is_as_long_as_geometry_says(tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(40.0)))
    made = command("estimate", file, "--material", "PLA", "--json").json
    # 1000 g / 1.24 g/cm³ over the section of 1.75 mm filament.
    length_mm = 1000 / PLA_G_CM3 * 1000 / (math.pi * 1.75**2 / 4)
    assert made["filament_mm"] / made["mass_g"] * 1000 == pytest.approx(length_mm, rel=1e-5)
    # Source: by geometry, 335 m.
    assert round(length_mm / 1000) == 335


@pytest.mark.parametrize(
    ("text", "thickness_mm"), [("1-1/2 in", 38.1), ('1/8"', 3.175), ("0,5 mm", 0.5), ("125 thou", 3.175)]
)
def test_thickness_is_read_as_a_shop_writes_it(tmp_path: Path, text: str, thickness_mm: float) -> None:
    made = routed(tmp_path, plate_drawing(), "plate.dxf", "--material", "birch plywood", "--thickness", text)
    assert made["thickness_mm"] == pytest.approx(thickness_mm, rel=1e-12)


def test_process_is_told_from_the_file(tmp_path: Path) -> None:
    drawing = written(tmp_path / "plate.DXF", plate_drawing())
    assert command("estimate", drawing, "--material", "6061 3 mm", "--json").json["process"] == "routed"


def test_inches_said_of_a_file_are_taken_and_a_size_that_looks_like_inches_is_questioned(tmp_path: Path) -> None:
    file = written(tmp_path / "small.stl", binary(cube(2.0)))
    inches = command("estimate", file, "--material", "PLA", "--unit", "in", "--json").json
    # 2 in = 50.8 mm.
    assert inches["size_mm"] == pytest.approx([50.8, 50.8, 50.8])
    assert any(
        "inch" in warning for warning in command("estimate", file, "--material", "PLA", "--json").json["warnings"]
    )


def test_shop_file_machine_and_settings_change_what_is_reckoned_with(tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(30.0)))
    shop = ("--shop", str(DEMO_PARTS / "shop.toml"))
    lark = command("estimate", file, "--material", "PETG", *shop, "--json").json
    wren = command("estimate", file, "--material", "PETG", *shop, "--machine", "Wren", "--json").json
    assert (lark["machine"], wren["machine"]) == ("Lark", "Wren")
    fuller = command("estimate", file, "--material", "PETG", *shop, "--settings", "infill_share=0.5", "--json").json
    assert fuller["volumes_mm3"]["infill"] == pytest.approx(2 * lark["volumes_mm3"]["infill"], rel=1e-4)
    assert "50 % infill" in fuller["settings"]


def test_register_that_is_named_lends_its_shop(demo: Path, tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(20.0)))
    before = sorted(path.name for path in demo.rglob("*"))
    assert command("estimate", file, "--material", "PETG", "--json", register=demo).json["machine"] == "Lark"
    assert sorted(path.name for path in demo.rglob("*")) == before


def test_bought_part_is_not_estimated_from_a_file(tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(20.0)))
    said = command("estimate", file, "--process", "bought")
    assert said.code == 3 and two_sentences(said.err)


def test_report_for_people_has_mass_time_and_cost_in_units_of_a_shop(tmp_path: Path) -> None:
    file = written(tmp_path / "cube.stl", binary(cube(20.0)))
    lines = command("estimate", file, "--material", "PLA", "--settings", "solid_top_layers=100").out.splitlines()
    figures = {line.split("  ")[0]: line.split("  ", 1)[1].strip() for line in lines}
    # 8 cm³ · 1.24 g/cm³ = 9.92 g; 8000 mm³ over 2.405 mm² = 3.33 m.
    assert figures["mass of one"] == "9.9 g, 3.33 m of filament"
    assert figures["solid volume"] == "8.00 cm³, 1 body"
    assert figures["size"] == "20 mm × 20 mm × 20 mm"
    assert "not yet calibrated" in figures["time of one"] and figures["cost of one"].endswith(" EUR")

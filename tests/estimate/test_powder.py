"""Estimates of parts printed in powder, against loads counted by hand and the balance of their powder."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.estimates import EstimateRequest, PowderLoad, PrintedEstimate
from register.domain.machines import Machine, PowderSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.domain.shop import ShopSettings
from register.errors import BadMesh, BadSettings, DoesNotFit, NotAllowed, UnknownMaterial
from register.estimate import gcode, whole
from register.estimate.powder import estimate_powder
from register.geometry.meshes import read_mesh
from register.settings.shop_file import built_in, read_shop
from tests.geometry.stl_bytes import Triangles, binary, box, cube, cylinder, sphere
from tests.shops import POWDER_TOML, SHOP_TOML

POWDER = Material("nylon powder", Form.POWDER, 1.0, "round figure", cost_per_kg_cents=50_000)
SETTINGS = PowderSettings(
    layer_height_mm=0.1,
    recoat_s=9.0,
    scan_mm2_s=500.0,
    contour_speed_mm_s=400.0,
    warm_up_s=5400.0,
    cool_down_s=27_000.0,
    packing_share=0.1,
    recycled_share=0.6,
    loose_share=0.5,
)
MACHINE = Machine("Starling", Process.PRINTED, (200.0, 200.0, 300.0), cost_per_h_cents=3000, powder=SETTINGS)


def estimated(solid: Triangles, material: Material = POWDER, **changed: float) -> PrintedEstimate:
    machine = replace(MACHINE, powder=replace(SETTINGS, **changed))
    return estimate_powder(read_mesh(binary(solid), "part"), material, machine)


def load_of(made: PrintedEstimate) -> PowderLoad:
    assert made.powder is not None
    return made.powder


def test_full_load_of_cubes_counted_by_hand() -> None:
    # The machine holds 200·200·300 = 12,000,000 mm³; a tenth of it is 150 cubes of 8,000 mm³, which use all its height:
    # 3,000 layers of 9 s. A cube has 200 layers of 400/500 + 80/400 = 1 s.
    made = estimated(cube(20.0))
    load = load_of(made)
    assert load.pieces == 150
    assert load.full_load_s == pytest.approx(5400 + 27_000 + 3000 * 9 + 150 * 200, rel=1e-9)
    assert load.lone_load_s == pytest.approx(5400 + 27_000 + 200 * 9 + 200, rel=1e-9)
    assert made.duration_s == pytest.approx(89_400 / 150, rel=1e-9)
    # 150 cubes weigh 1,200 g, and the 10,800 cm³ between them 5,400 g: 40 % of 6,600 g are fresh, 17.6 g a cube.
    assert load.fresh_g == pytest.approx(0.4 * 6600 / 150, rel=1e-6)
    assert load.unusable_g == pytest.approx(17.6 - 8.0, rel=1e-6)
    # 17.6 g at 500.00 a kilogram are 880 cents; 596 s at 30.00 an hour are 496.67.
    assert made.cost_cents == 1377


def test_powder_has_no_contours_infill_support_or_filament() -> None:
    made = estimated(cube(20.0))
    spent = made.volumes_mm3
    assert (spent.contours, spent.infill, spent.support, spent.bed_edge) == (0.0, 0.0, 0.0, 0.0)
    assert spent.solid_layers == spent.total == pytest.approx(8000.0, rel=1e-6)
    assert made.mass_g == pytest.approx(8.0, rel=1e-6)
    assert (made.filament_mm, made.layers, made.process) == (0.0, 200, "printed")
    assert made.settings == "powder in 0.1 mm layers, packed to 10 %, 60 % recycled"
    assert made.taken_g == load_of(made).fresh_g


def test_sintered_nylon_weighs_what_the_data_sheets_say() -> None:
    # Source: supplier data sheets, laser-sintered PA12: 0.88 to 0.96 g/cm³.
    (material,) = (each for each in built_in().materials if each.form is Form.POWDER)
    made = estimated(cube(10.0), material)
    assert 0.88 <= made.mass_g <= 0.96


def test_scanning_a_sphere_takes_its_volume_and_its_contours() -> None:
    # Over all layers, ΣA·h is the volume, and the contours' sum is ∫2π√(R² − z²)dz / h = π²R²/h. Closed forms; the
    # sphere's facets and the layers' steps leave a few thousandths.
    radius_mm = 15.0
    load = load_of(estimated(sphere(radius_mm), recoat_s=0.0, warm_up_s=0.0, cool_down_s=0.0))
    volume, contours = 4 / 3 * math.pi * radius_mm**3, math.pi**2 * radius_mm**2
    assert load.lone_load_s == pytest.approx(volume / (0.1 * 500) + contours / (0.1 * 400), rel=4e-3)


def test_piece_that_takes_more_than_the_share_is_a_load_by_itself_as_high_as_it_stacks() -> None:
    # 180·180·60 = 1,944,000 mm³ is more than a tenth of the machine. Packed to a tenth it would stack to 486 mm, so
    # that all 300 mm are used.
    load = load_of(estimated(box(180.0, 180.0, 60.0)))
    assert load.pieces == 1
    scan_s = 600 * (32_400 / 500 + 720 / 400)
    assert load.full_load_s == pytest.approx(32_400 + 3000 * 9 + scan_s, rel=1e-6)
    # Alone it lies 60 mm high.
    assert load.lone_load_s == pytest.approx(32_400 + 600 * 9 + scan_s, rel=1e-6)


def test_no_more_pieces_are_packed_than_there_is_room_for() -> None:
    # Half of the machine is 4.5 cubes of 110 mm; side by side and on top of one another there is room for two.
    load = load_of(estimated(cube(110.0), packing_share=0.5))
    assert load.pieces == 2
    assert load.full_load_s == pytest.approx(32_400 + 3000 * 9 + 2 * 1100 * (12_100 / 500 + 440 / 400), rel=1e-6)


def test_part_may_lie_any_way_up_and_one_that_fits_no_way_is_refused_with_its_measures() -> None:
    # 290 mm go upright only, though the file lays it along x; then it is 290 mm high alone, 2,900 layers.
    load = load_of(estimated(box(290.0, 20.0, 10.0)))
    scan_s = 100 * (5800 / 500 + 620 / 400)
    assert load.lone_load_s == pytest.approx(32_400 + 2900 * 9 + scan_s, rel=1e-6)
    # A rod that stands in the file lies down: 20 mm high alone.
    load = load_of(estimated(box(20.0, 20.0, 150.0)))
    assert load.lone_load_s == pytest.approx(32_400 + 200 * 9 + 1500 * (400 / 500 + 80 / 400), rel=1e-6)
    with pytest.raises(DoesNotFit, match="The part is 310 × 20 × 10 mm, and Starling holds 200 × 200 × 300 mm"):
        estimated(box(310.0, 20.0, 10.0))


def test_range_widens_round_what_is_not_known_and_leaves_heating_out() -> None:
    # ln(actual/estimate) has a standard deviation of 0.2, and 1.2816 of them hold 80 %. 32,400 s a load are known.
    made = estimated(cube(20.0))
    known_s, spread = 32_400 / 150, math.exp(1.2816 * 0.2)
    assert made.duration_low_s == pytest.approx(known_s + (made.duration_s - known_s) / spread, rel=1e-9)
    assert made.duration_high_s == pytest.approx(known_s + (made.duration_s - known_s) * spread, rel=1e-9)


@pytest.mark.parametrize(
    ("recycled", "fresh_g"),
    [
        # W is 44 g a cube. None of it filled in twice: all of it is fresh.
        (0.0, 44.0),
        (0.5, 22.0),
        # 36 g of 44 g are left over, 81.8 %: beyond that what leaves in the parts has to come in fresh.
        (0.8, 8.8),
        (0.9, 8.0),
        (1.0, 8.0),
    ],
)
def test_fresh_powder_is_what_the_recycled_share_leaves_and_never_less_than_the_part(
    recycled: float, fresh_g: float
) -> None:
    load = load_of(estimated(cube(20.0), recycled_share=recycled))
    assert load.fresh_g == pytest.approx(fresh_g, rel=1e-6)
    assert load.unusable_g == pytest.approx(fresh_g - 8.0, abs=1e-6)


@given(st.floats(5.0, 190.0), st.floats(5.0, 190.0), st.floats(5.0, 190.0), st.floats(0.01, 1.0), st.floats(0.0, 1.0))
def test_a_load_is_its_pieces_and_powder_is_neither_made_nor_lost(
    x_mm: float, y_mm: float, z_mm: float, packing: float, recycled: float
) -> None:
    made = estimated(box(x_mm, y_mm, z_mm), packing_share=packing, recycled_share=recycled)
    load = load_of(made)
    assert load.pieces * made.duration_s == pytest.approx(load.full_load_s, rel=1e-9)
    assert load.fresh_g - load.unusable_g == pytest.approx(made.mass_g, rel=1e-9)
    assert load.unusable_g >= 0
    assert load.pieces * x_mm * y_mm * z_mm <= 12_000_000 * (1 + 1e-4)
    assert load.lone_load_s <= load.full_load_s * (1 + 1e-9)
    assert made.duration_low_s <= made.duration_s <= made.duration_high_s


def test_loads_between_one_piece_and_all_grow_evenly() -> None:
    load = PowderLoad(1.0, 0.0, 11, 90_000.0, 40_000.0)
    assert [load.load_s(pieces) for pieces in (1, 2, 6, 11)] == [40_000.0, 45_000.0, 65_000.0, 90_000.0]
    assert PowderLoad(1.0, 0.0, 1, 90_000.0, 40_000.0).load_s(1) == 90_000.0


@pytest.mark.parametrize(
    ("setting", "figure"),
    [
        ("layer_height_mm", 0.0),
        ("scan_mm2_s", -1.0),
        ("contour_speed_mm_s", math.nan),
        ("packing_share", 1.5),
        ("recycled_share", -0.1),
        ("loose_share", math.inf),
    ],
)
def test_setting_out_of_range_is_refused_by_its_name(setting: str, figure: float) -> None:
    with pytest.raises(BadSettings, match=f"{setting} is"):
        estimated(cube(20.0), **{setting: figure})


def test_layers_without_end_are_refused() -> None:
    with pytest.raises(BadSettings, match="200000000 layers"):
        estimated(cube(20.0), layer_height_mm=1e-7)


def test_what_is_no_powder_or_no_powder_printer_is_refused() -> None:
    mesh = read_mesh(binary(cube(20.0)), "part")
    with pytest.raises(UnknownMaterial, match="not powder"):
        estimate_powder(mesh, replace(POWDER, form=Form.FILAMENT), MACHINE)
    with pytest.raises(BadSettings, match="prints no powder"):
        estimate_powder(mesh, POWDER, replace(MACHINE, powder=None))


SHOP = read_shop(POWDER_TOML, "shop.toml")


def asked(material: str, settings: ShopSettings = SHOP, **more: object) -> PrintedEstimate:
    request = EstimateRequest(Process.PRINTED, material, **more)  # type: ignore[arg-type]
    made = whole.estimate(binary(cylinder(10.0, 12.0)), "pin.stl", request, settings)
    assert isinstance(made, PrintedEstimate)
    return made


def test_powder_goes_to_powder_printers_and_filament_to_the_others() -> None:
    assert asked("Nylon Powder").machine == "Starling"
    assert asked("PLA").machine != "Starling"
    # Also where no machine says which materials it takes.
    free = replace(SHOP, machines=tuple(replace(each, materials=()) for each in reversed(SHOP.machines)))
    assert free.machines[0].name == "Starling"
    assert asked("nylon powder", free).machine == "Starling"
    assert asked("PLA", free).machine not in ("Starling", "Heron")
    for material, machine in (("nylon powder", "Lark"), ("PLA", "Starling")):
        with pytest.raises(NotAllowed, match=f"{machine} does not take {material}"):
            asked(material, free, machine=machine)


def test_shop_without_a_powder_printer_is_told_what_it_lacks() -> None:
    with pytest.raises(NotAllowed, match=r"No machine of the shop takes PA12 powder.*\[machine.powder\]"):
        asked("PA12 powder", built_in())
    with pytest.raises(UnknownMaterial):
        asked("nylon powder", read_shop(SHOP_TOML, "shop.toml"))


def test_powder_has_no_pose_to_name_and_no_lines_to_draw() -> None:
    for more in ({"turned": "2"}, {"exact": True}):
        with pytest.raises(NotAllowed, match="Powder has neither"):
            asked("nylon powder", **more)


def test_powder_printer_runs_no_program_that_moves_a_nozzle() -> None:
    program = b"G1 X1 E1 F100"
    free = replace(SHOP, machines=tuple(reversed(SHOP.machines)))
    assert gcode.machine_for(program, free).powder is None
    with pytest.raises(NotAllowed, match="Starling prints powder"):
        gcode.machine_for(program, SHOP, "starling")


def test_damaged_mesh_is_refused_as_for_any_print() -> None:
    request = EstimateRequest(Process.PRINTED, "nylon powder")
    with pytest.raises(BadMesh, match=r"pin\.stl"):
        whole.estimate(b"solid nothing", "pin.stl", request, SHOP)


def test_shop_of_powder_alone_is_asked_for_a_powder() -> None:
    shop = built_in()
    alone = replace(shop, materials=(POWDER,), machines=(MACHINE,))
    with pytest.raises(UnknownMaterial, match="No powder was named") as refused:
        whole.estimate(binary(cube(20.0)), "cube.stl", EstimateRequest(Process.PRINTED), alone)
    assert POWDER.name in refused.value.cure

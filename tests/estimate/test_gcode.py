"""Machine programs: times by hand from uniform acceleration, and programs that are damaged or say too little."""

import json
import math
from pathlib import Path

import pytest

from register.domain.estimates import ProgramEstimate
from register.domain.machines import Machine, PrintSettings, RouterLimits
from register.domain.parts import Process
from register.errors import BadFile, NotAllowed, NotFound
from register.estimate.gcode import estimate_program, machine_for, prints
from register.settings.shop_file import built_in
from tests.cli.command_line import command

# 100 mm/s at the rapid, 1000 mm/s², every corner a stop: figures that can be reckoned with by hand.
LIMITS = RouterLimits(
    feed_limit_mm_s=100.0, rapid_mm_s=100.0, acceleration_mm_s2=1000.0, junction_deviation_mm=0.0, spin_up_s=8.0,
    tool_change_s=120.0,
)  # fmt: skip
ROUTER = Machine("Plover", Process.ROUTED, (600.0, 600.0, 100.0), router=LIMITS)
PRINTER = Machine(
    "Wren",
    Process.PRINTED,
    (200.0, 200.0, 200.0),
    print_overrides={"acceleration_mm_s2": 1000.0, "junction_deviation_mm": 0.0, "travel_speed_mm_s": 100.0},
)


def run(*lines: str, machine: Machine = ROUTER) -> ProgramEstimate:
    return estimate_program("\n".join(lines).encode(), "part.ngc", machine, PrintSettings())


def rounding(**limits: float) -> Machine:
    """A router that may round its corners."""
    own = {"acceleration_mm_s2": 1000.0, "junction_deviation_mm": 0.05} | limits
    return Machine("Plover", Process.ROUTED, (600.0, 600.0, 100.0), router=RouterLimits(**own))


def straight(length_mm: float, speed_mm_s: float) -> float:
    """L/v + v/a, or 2·√(L/a) where the speed is not reached. Source: uniform acceleration."""
    if length_mm >= speed_mm_s**2 / 1000.0:
        return length_mm / speed_mm_s + speed_mm_s / 1000.0
    return 2.0 * math.sqrt(length_mm / 1000.0)


def test_a_rapid_and_a_cut_take_what_uniform_acceleration_says() -> None:
    made = run("G21 G90", "G0 X100", "G1 Y60 F1200")
    # 100/100 + 0.1 = 1.1 s; F1200 is 20 mm/s: 60/20 + 0.02 = 3.02 s.
    assert made.duration_s == pytest.approx(1.1 + 3.02)
    assert (made.rapid_length_mm, made.cut_length_mm) == (pytest.approx(100.0), pytest.approx(60.0))
    assert made.warnings == () and made.blocks == 3 and made.machine == "Plover"
    assert made.duration_low_s < made.duration_s < made.duration_high_s


def test_codes_and_coordinates_stay_in_force_and_may_be_written_in_any_way() -> None:
    plain = run("G1 X10 F600", "X20", "Y5")
    for other in (
        ["g1x10f600", "x20", "y5"],
        ["N10 G01 X10. F600.", "N20 X+20.0 (on)", "N30 Y5 ; up"],
        ["%", "O0001", "G1 X 1 0 F600 (a; b)", "", "(nothing)", "/X20", "Y5*71", "M30", "X900"],
    ):
        assert run(*other).duration_s == pytest.approx(plain.duration_s)
        assert run(*other).cut_length_mm == pytest.approx(25.0)
    # On through X10, which is no corner; a stop before Y.
    assert plain.duration_s == pytest.approx(straight(20.0, 10.0) + straight(5.0, 10.0))


def test_corners_that_are_straight_do_not_stop() -> None:
    assert run("G1 X10 F600", "X20").duration_s == pytest.approx(straight(20.0, 10.0))


def test_inches_steps_and_millimetres_mean_the_same_move() -> None:
    # 1 in is 25.4 mm by definition; F in inches a minute: 60 in/min is 25.4 mm/s.
    wanted = straight(50.8, 25.4)
    assert run("G20 G90", "G1 X2 F60").duration_s == pytest.approx(wanted)
    assert run("G20 G91", "G1 X1 F60", "X1").duration_s == pytest.approx(wanted)
    assert run("G21", "G1 X50.8 F1524").duration_s == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("plane", "words", "axes"),
    [("G17", "X{} Y0 I-20 J0", "XY"), ("G18", "Z{} X0 K-20 I0", "ZX"), ("G19", "Y{} Z0 J-20 K0", "YZ")],
)
def test_full_circle_in_each_plane_has_its_circumference(plane: str, words: str, axes: str) -> None:
    made = run(f"{plane} G0 {axes[0]}20", f"G2 {words.format(20)} F300")
    assert made.cut_length_mm == pytest.approx(2 * math.pi * 20.0, rel=1e-9)
    # 5 mm/s; the corners between the chords stop nothing only if the deviation lets them, so the time is more.
    assert made.duration_s > 2 * math.pi * 20.0 / 5.0


def test_arc_runs_at_its_feed_where_corners_may_be_rounded() -> None:
    free = rounding()
    made = run("G0 X20", "G3 X20 Y0 I-20 J0 F300", machine=free)
    circle = 2 * math.pi * 20.0
    rapid = 20.0 / 80.0 + 80.0 / 1000.0
    # Chords within 0.01 mm of the circle are shorter by less than 0.1 %; the start and the stop are 5/1000 s.
    assert made.duration_s - rapid == pytest.approx(circle / 5.0 + 0.005, rel=1.5e-3)


def test_tight_arc_is_slowed_by_its_radius() -> None:
    free = rounding(feed_limit_mm_s=500.0)
    made = run("G1 X1.6 F30000", "G2 X1.6 Y0 I-1.6 J0", machine=free)
    # v = √(a·r) = √(1000·1.6) = 40 mm/s at most, from uniform circular motion.
    assert made.duration_s > 2 * math.pi * 1.6 / 40.0


@pytest.mark.parametrize(
    ("code", "radius", "share"), [("G3", 10, 0.25), ("G3", -10, 0.75), ("G2", 10, 0.25), ("G2", -10, 0.75)]
)
def test_radius_gives_the_shorter_arc_and_a_negative_one_the_longer(code: str, radius: int, share: float) -> None:
    # From (10, 0) to (0, 10) with radius 10: a quarter of the circle, or three quarters. Source: RS-274/NGC (memory).
    made = run("G0 X10", f"{code} X0 Y10 R{radius} F600")
    assert made.cut_length_mm == pytest.approx(share * 2 * math.pi * 10.0, rel=1e-9)


def test_arc_against_the_clock_by_centre_is_the_quarter_and_with_it_the_rest() -> None:
    for code, share in (("G3", 0.25), ("G2", 0.75)):
        made = run("G0 X10", f"{code} X0 Y10 I-10 J0 F600")
        assert made.cut_length_mm == pytest.approx(share * 2 * math.pi * 10.0, rel=1e-9)
    assert run("G90.1 G0 X10", "G3 X0 Y10 I0 J0 F600").cut_length_mm == pytest.approx(math.pi * 5.0, rel=1e-9)


def test_helix_has_the_length_of_its_unrolled_triangle() -> None:
    made = run("G0 X20", "G2 X20 Y0 Z-30 I-20 J0 F600")
    assert made.cut_length_mm == pytest.approx(math.hypot(2 * math.pi * 20.0, 30.0), rel=1e-9)


def test_feeds_by_time_by_minute_and_by_turn() -> None:
    # G93: F2 is half a minute for the move; uniform speed 100/30 mm/s and one start and stop.
    assert run("G93", "G1 X100 F2").duration_s == pytest.approx(straight(100.0, 100.0 / 30.0))
    # G95: 0.1 mm a turn at 6000 turns a minute is 600 mm/min.
    assert run("S6000", "G95", "G1 X100 F0.1").duration_s == pytest.approx(straight(100.0, 10.0))
    assert run("G94", "G1 X100 F600").duration_s == pytest.approx(straight(100.0, 10.0))


def test_dwells_tool_changes_and_spin_up_take_their_time() -> None:
    made = run("T1 M6", "S12000 M3", "G4 P2.5", "G0 X100", "M3", "M5", "T2 M6", "M3", "M2")
    # Two changes of 120 s, two spin-ups of 8 s, 2.5 s of waiting and a rapid of 1.1 s.
    assert made.duration_s == pytest.approx(2 * 120.0 + 2 * 8.0 + 2.5 + 1.1)
    assert (made.tool_changes, made.dwell_s) == (2, 2.5)


def test_drilling_goes_down_at_the_feed_and_up_at_the_rapid() -> None:
    made = run("G0 Z10", "G99 G81 X30 Y40 Z-5 R2 F300", "X0", "G80")
    # Up 10; over 50 to the first, down 8 to R; cut 7, back 7; over 30 at R, cut 7, back 7.
    assert made.cut_length_mm == pytest.approx(14.0)
    assert made.rapid_length_mm == pytest.approx(10.0 + 50.0 + 8.0 + 7.0 + 30.0 + 7.0)
    back_to_start = run("G0 Z10", "G98 G81 X30 Y40 Z-5 R2 F300", "X0", "G80")
    # To Z10 after each hole: 15 up from the first, 8 down again, 15 up from the second.
    assert back_to_start.rapid_length_mm == pytest.approx(10.0 + 50.0 + 8.0 + 15.0 + 30.0 + 8.0 + 15.0)


def test_drilling_with_a_dwell_waits_at_each_bottom_and_in_pecks_goes_up_between() -> None:
    waits = run("G0 Z10", "G99 G82 X30 Z-5 R2 P1.5 F300", "X0")
    assert waits.dwell_s == pytest.approx(3.0)
    pecks = run("G0 Z10", "G99 G83 X30 Z-5 R2 Q3 F300")
    # From 2: to −1, up 3 and down 3; to −4, up 6 and down 6; to −5, up 7. Cut 7 in all, whatever the pecks.
    assert pecks.cut_length_mm == pytest.approx(7.0)
    assert pecks.rapid_length_mm == pytest.approx(10.0 + 30.0 + 8.0 + 3.0 + 3.0 + 6.0 + 6.0 + 7.0)


def test_printing_program_counts_filament_as_cut_and_the_rest_as_between() -> None:
    text = [
        "M104 S210",
        "M82",
        "G92 E0",
        "G1 X100 E4 F1200",
        "G0 Y50 F6000",
        "G1 E2 F1800",
        "G92 E0",
        "M83",
        "G1 X0 E1 F1200",
    ]
    made = run(*text, machine=PRINTER)
    assert (made.cut_length_mm, made.rapid_length_mm) == (pytest.approx(200.0), pytest.approx(50.0))
    # 20 mm/s, 100 mm/s, and 2 mm of filament back at 30 mm/s from rest to rest.
    assert made.duration_s == pytest.approx(2 * straight(100.0, 20.0) + straight(50.0, 100.0) + straight(2.0, 30.0))
    assert made.warnings == ("Heating is not counted (1).",)
    assert run("G4 P500", "G4 S2", "G1 X1 E1 F60", machine=PRINTER).dwell_s == pytest.approx(2.5)
    assert prints("\n".join(text).encode()) and not prints(b"G1 X1 F1 (E5)\nG1 X2 ; E5")


def test_what_is_not_followed_is_said_with_how_often() -> None:
    said = run("G41 D1", "G92 X0", "G1 X10 F9999999", "G5.1 Q1", "X20", "M123", "G28", "M0").warnings
    for words in (
        "Tool radius compensation is not followed: the path is taken as written (1).",
        "G92 gives the place another name; the way there and back is not known (1).",
        "Feeds above the machine's limit were held to it (1).",
        "G5.1 is not known and was passed over (1).",
        "Moves under a code that is not known are not counted (1).",
        "M123 is not known and was passed over (1).",
        "Moves to the reference point are not counted (1).",
        "Stops for a person are not counted (1).",
    ):
        assert words in said


def test_shifting_the_origin_moves_nothing() -> None:
    assert run("G1 X10 F600", "G92 X100", "X110").cut_length_mm == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["#1=5", "G1 X#1 F600"], "parameters"),
        (["G1 X[1+2] F600"], "parameters"),
        (["O100 sub", "G1 X1 F1", "O100 endsub"], "parameters"),
        (["G1 X1 F1", "O2"], "parameters"),
        (["M98 P1000", "G1 X1 F1"], "subprograms"),
        (["G1 X10"], "a feed before it says one"),
        (["G1 X10 F0"], "a feed that is not above nothing"),
        (["G1 X10 F-5"], "a feed that is not above nothing"),
        (["G95 G1 X10 F0.1"], "a spindle speed that is not above nothing"),
        (["G1 Xnan F600"] * 20, "is no machine program"),
        (["G1 X99999999 F600"], "beyond all measure"),
        (["G1 X9999999 F600"], "1 km away"),
        ([f"G1 X{'9' * 400} F600"], "beyond all measure"),
        (["G1 X1 X2 F600"], "says X twice in line 1"),
        (["G0 X10", "G2 X0 Y50 R3 F600"], "its radius cannot make"),
        (["G81 X1 Z-1 F600"], "without Z or R"),
        (["G83 X1 Z-1000 R1 Q0.001 F600"], "more than 1000 pecks"),
        (["G4 P1000000"], "waits longer than a day"),
        (["G4 P-1"], "waits longer than a day"),
        (["G1 X1000 F0.001"], "more than a year"),
        (["M3", "G4 P1"], "moves nothing"),
        (
            ["Dear all,", "please find the part", "in the drawing", "that is", "with this", "letter", "regards"],
            "is no machine",
        ),
        ([""], "is no machine program"),
        (["G1 X1 F1\0"], "is no program text"),
    ],
)
def test_program_that_cannot_be_known_or_is_none_is_refused(lines: list[str], said: str) -> None:
    with pytest.raises(BadFile) as caught:
        run(*lines)
    assert said in caught.value.what and caught.value.what.startswith("part.ngc ")
    assert caught.value.what.endswith(".") and caught.value.cure.endswith(".")


def test_program_finds_its_machine() -> None:
    shop = built_in()
    assert machine_for(b"G1 X1 F1", shop).process is Process.ROUTED
    assert machine_for(b"G1 X1 E1 F1", shop).process is Process.PRINTED
    named = shop.machines[-1].name
    assert machine_for(b"G1 X1 F1", shop, named.upper()).name == named
    with pytest.raises(NotFound):
        machine_for(b"", shop, "Nobody")
    with pytest.raises(NotAllowed):
        machine_for(b"", type(shop)(shop.shop, (), (), (), ()))


@pytest.mark.parametrize("ending", ["gcode", "nc", "ngc", "TAP"])
def test_command_estimates_a_program_by_its_ending(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"part.{ending}"
    path.write_text("G21\nG0 X100\nG1 Y60 F1200\n", encoding="ascii")
    said = command("estimate", str(path))
    assert said.code == 0 and "3 blocks on" in said.out
    made = command("estimate", str(path), "--json").json
    assert made["process"] == "program" and made["cut_length_mm"] == 60.0 and json.dumps(made)


def test_long_run_is_planned_in_lots_that_cost_no_more_than_a_stop_each() -> None:
    steps = 120_000
    made = run("G91", "G1 X0.001 F600", *["X0.001"] * (steps - 1))
    whole = straight(steps / 1000.0, 10.0)
    # A stop and a start at 10 mm/s cost 10/1000 s together; there are two within 120,000 moves.
    assert whole <= made.duration_s <= whole + 2 * 0.0101

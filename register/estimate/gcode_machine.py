"""A machine that runs a program block by block: what is in force, where it is, and how far it went."""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from register.domain.machines import RouterLimits
from register.errors import BadFile
from register.estimate.gcode_blocks import Block
from register.estimate.gcode_paths import Paths, Point, arc_points

INCH_MM = 25.4
FARTHEST_MM = 1_000_000.0
SLOWEST_MM_S = 1e-9
MOST_POINTS = 3_000_000
MOST_PECKS = 1_000
# How far the two radii of an arc may differ before that is said: absolute, and as a share.
ARC_SLACK_MM, ARC_SLACK = 0.02, 0.001

CENTRES = "IJK"
LINES, ARCS, DRILLED = {"G0", "G1"}, {"G2", "G3"}, {"G81", "G82", "G83"}
MODES: Mapping[str, Mapping[str, Any]] = {
    **{code: {"motion": code} for code in LINES | ARCS | DRILLED},
    **{code: {"feed_mode": code} for code in ("G93", "G94", "G95")},
    "G17": {"plane": (0, 1, 2)},
    "G18": {"plane": (2, 0, 1)},
    "G19": {"plane": (1, 2, 0)},
    "G20": {"unit": INCH_MM},
    "G21": {"unit": 1.0},
    "G80": {"motion": None},
    "G90": {"absolute": True, "filament_absolute": True},
    "G91": {"absolute": False, "filament_absolute": False},
    "G90.1": {"centres_absolute": True},
    "G91.1": {"centres_absolute": False},
    "G98": {"to_retract": False},
    "G99": {"to_retract": True},
    "M82": {"filament_absolute": True},
    "M83": {"filament_absolute": False},
}
REFUSED = {"M97", "M98", "M99", "G65", "G66"}
WITHOUT_TIME = {
    *("G40", "G43", "G49", "G61", "G61.1", "G64", "G92", "M7", "M8", "M9", "G4", "M84", "M105"),
    *("M106", "M107", "M117", "M118", "M220", "M221", "M73", *(f"G{k}" for k in range(54, 60))),
}
HEATING = {"M104", "M109", "M140", "M190"}
SAID = {
    "G41": "tool radius compensation is not followed: the path is taken as written",
    "G42": "tool radius compensation is not followed: the path is taken as written",
    **dict.fromkeys(("G92.1", "G92.2", "G92.3"), "moving the origin back is not followed"),
    "G28": "moves to the reference point are not counted",
    "G30": "moves to the reference point are not counted",
    "G53": "moves in machine coordinates are taken as written",
    "G90.1": "arc centres are taken as absolute",
    "M0": "stops for a person are not counted",
    "M1": "stops for a person are not counted",
    **dict.fromkeys(HEATING, "heating is not counted"),
}


@dataclass(frozen=True)
class Modes:
    """What stays in force until another code takes its place.

    `plane` has the indices of its first and second axis and of the one across; `unit` is in mm.
    """

    motion: str | None
    plane: tuple[int, int, int] = (0, 1, 2)
    unit: float = 1.0
    absolute: bool = True
    filament_absolute: bool = True
    centres_absolute: bool = False
    to_retract: bool = False
    feed_mode: str = "G94"


class RunningProgram:
    """A machine at the origin that takes one block after another; lengths mm, speeds mm/s, whatever the program says.

    Parameters
    ----------
    name
        Of the program, for messages.
    printing
        Whether the machine is a printer: then G0 has a feed, and what moves no filament is a rapid.
    """

    def __init__(self, name: str, limits: RouterLimits, printing: bool) -> None:
        self.notes: Counter[str] = Counter()
        self.cut_mm = self.rapid_mm = self.dwell_s = 0.0
        self.tool_changes = 0
        self.ended = False
        self.paths = Paths((0.0, 0.0, 0.0), limits.acceleration_mm_s2, limits.junction_deviation_mm)
        self._name, self._limits, self._printing = name, limits, printing
        self._at: Point = (0.0, 0.0, 0.0)
        self._filament = self._feed = self._spindle = 0.0
        self._modes = Modes(motion="G1" if printing else None)
        self._turning = False
        self._cycle: dict[str, float] = {}
        self._initial_z = 0.0

    def run(self, block: Block) -> None:
        """One block, in the order in which a machine takes its words."""
        codes = set(block.codes)
        for code in block.codes:
            self._take(code)
        if "F" in block.words:
            scale = 1.0 if self._modes.feed_mode == "G93" else self._modes.unit
            self._feed = self._positive(block.words["F"] * scale, "feed")
        self._spindle = abs(block.words.get("S", self._spindle)) if "G4" not in codes else self._spindle
        if "G4" in codes:
            self._dwell(block.words)
        elif "G92" in codes:
            self._shift(block.words)
        elif codes & {"G28", "G30"}:
            named = [axis for axis in "XYZ" if axis in block.words] or list("XYZ")
            self._name_position(dict.fromkeys(named, 0.0))
        elif "G10" not in codes:
            self._move(block)

    def _take(self, code: str) -> None:
        if code == self._modes.motion and code not in DRILLED:
            return
        if code in REFUSED:
            raise self._refusal("calls subprograms", "Write it out as plain moves and give that program.")
        self.notes.update([SAID[code]] if code in SAID else [])
        if code in DRILLED and self._modes.motion not in DRILLED:
            self._initial_z, self._cycle = self._at[2], {}
        if code in MODES:
            self._modes = replace(self._modes, **MODES[code])
        elif code in {"M3", "M4", "M5", "M6"}:
            self._spindle_or_tool(code)
        elif code in {"M2", "M30"}:
            self.ended = True
        elif code not in WITHOUT_TIME | SAID.keys():
            self._pass_over(code)

    def _spindle_or_tool(self, code: str) -> None:
        turning = code in {"M3", "M4"}
        if turning and not self._turning:
            self.paths.wait(self._limits.spin_up_s)
        if code == "M6":
            self.tool_changes += 1
            self.paths.wait(self._limits.tool_change_s)
        self._turning = turning

    def _pass_over(self, code: str) -> None:
        self.notes[f"{code} is not known and was passed over"] += 1
        if code.startswith("G"):
            self._modes = replace(self._modes, motion=None)

    def _move(self, block: Block) -> None:
        words = block.words
        filament = self._filament_moved(words)
        turns_alone = self._modes.motion in ARCS and any(each in words for each in CENTRES)
        if not any(axis in words for axis in "XYZ") and not turns_alone:
            if filament:
                self.paths.straight(abs(filament), self._speed(abs(filament)))
            return
        if self._modes.motion in DRILLED:
            self._drill(words)
            return
        target = self._target(words)
        if self._modes.motion in ARCS:
            self._arc(target, words)
        elif self._modes.motion in LINES:
            fast = self._modes.motion == "G0" and not (self._printing and self._feed > 0.0)
            self._line(target, fast, idle=fast or (self._printing and not filament))
        else:
            self.notes["moves under a code that is not known are not counted"] += 1
            self._at = target
            self.paths.jump(target)

    def _target(self, words: dict[str, float]) -> Point:
        found = []
        for axis, at in zip("XYZ", self._at, strict=True):
            value = words.get(axis)
            found.append(at if value is None else value * self._modes.unit + (0.0 if self._modes.absolute else at))
        x, y, z = found
        if max(abs(x), abs(y), abs(z)) > FARTHEST_MM:
            raise self._refusal("moves more than 1 km away", "Check its units.")
        return x, y, z

    def _line(self, target: Point, rapid: bool, idle: bool | None = None) -> None:
        length = math.dist(self._at, target)
        if length > 0.0:
            self.paths.line(target, self._limits.rapid_mm_s if rapid else self._speed(length))
            self._count(length, rapid if idle is None else idle)
        self._at = target

    def _arc(self, target: Point, words: dict[str, float]) -> None:
        first, second, _ = self._modes.plane
        clockwise = self._modes.motion == "G2"
        if "R" in words:
            centre = self._centre_by_radius(target, words["R"] * self._modes.unit, clockwise)
        else:
            offset = [words.get(CENTRES[axis], 0.0) * self._modes.unit for axis in (first, second)]
            base = (0.0, 0.0) if self._modes.centres_absolute else (self._at[first], self._at[second])
            centre = (base[0] + offset[0], base[1] + offset[1])
        radii = [math.hypot(each[first] - centre[0], each[second] - centre[1]) for each in (self._at, target)]
        if abs(radii[0] - radii[1]) > ARC_SLACK_MM + ARC_SLACK * radii[0]:
            self.notes["arcs whose two ends are not as far from their centre were run all the same"] += 1
        if words.get("P", 1.0) != 1.0:
            self.notes["arcs of several turns are counted as one"] += 1
        points, radius, length = arc_points(self._at, target, centre, self._modes.plane, clockwise)
        self.paths.arc(points, radius, self._speed(length))
        self._count(length, rapid=False)
        self._at = target

    def _centre_by_radius(self, target: Point, radius: float, clockwise: bool) -> tuple[float, float]:
        """The centre left of the chord for the shorter turn against the clock, right of it for the other three."""
        first, second, _ = self._modes.plane
        across, along = target[first] - self._at[first], target[second] - self._at[second]
        chord = math.hypot(across, along)
        if chord == 0.0 or chord > 2.0 * abs(radius) * (1.0 + ARC_SLACK) + ARC_SLACK_MM:
            raise self._refusal("has an arc that its radius cannot make", "Check its G2 and G3.")
        height = math.sqrt(max(radius * radius - chord * chord / 4.0, 0.0)) / chord
        side = height if (radius > 0.0) != clockwise else -height
        middle = (self._at[first] + across / 2.0, self._at[second] + along / 2.0)
        return middle[0] - along * side, middle[1] + across * side

    def _drill(self, words: dict[str, float]) -> None:
        """One hole: over it at the retract height, down at the feed, in pecks for G83, and up again."""
        self._cycle |= {letter: words[letter] for letter in "ZRQP" if letter in words}
        if not {"Z", "R"} <= self._cycle.keys():
            raise self._refusal("drills without Z or R", "Check its drilling cycles.")
        if not self._modes.absolute or "L" in words:
            self.notes["drilling in steps (G91, L) is counted once for each block"] += 1
        x, y, _ = self._target({axis: words[axis] for axis in "XY" if axis in words})
        retract, bottom = self._cycle["R"] * self._modes.unit, self._cycle["Z"] * self._modes.unit
        if not self._modes.absolute:
            retract, bottom = self._at[2] + retract, self._at[2] + retract + bottom
        if max(abs(retract), abs(bottom)) > FARTHEST_MM:
            raise self._refusal("drills more than 1 km deep", "Check its units.")
        over = max(self._at[2], retract)
        self._line((self._at[0], self._at[1], over), rapid=True)
        self._line((x, y, over), rapid=True)
        self._line((x, y, retract), rapid=True)
        self._pecks(x, y, retract, bottom)
        if self._modes.motion == "G82":
            self._dwell({"P": self._cycle.get("P", 0.0)})
        self._line((x, y, retract if self._modes.to_retract else max(retract, self._initial_z)), rapid=True)

    def _pecks(self, x: float, y: float, retract: float, bottom: float) -> None:
        peck = abs(self._cycle.get("Q", 0.0)) * self._modes.unit
        depth = retract
        pecks = 0
        while self._modes.motion == "G83" and peck > 0.0 and depth - peck > bottom:
            pecks += 1
            if pecks > MOST_PECKS:
                raise self._refusal(f"drills a hole in more than {MOST_PECKS} pecks", "Check its Q.")
            self._line((x, y, depth), rapid=True)
            depth -= peck
            self._line((x, y, depth), rapid=False)
            self._line((x, y, retract), rapid=True)
        self._line((x, y, depth), rapid=True)
        self._line((x, y, bottom), rapid=False)

    def _speed(self, length_mm: float) -> float:
        """The speed of a move at the feed in force."""
        if not self._feed:
            raise self._refusal("moves at a feed before it says one", "Give an F before the first cut.")
        speed = self._feed / 60.0
        if self._modes.feed_mode == "G93":
            speed *= length_mm
        elif self._modes.feed_mode == "G95":
            speed *= self._positive(self._spindle, "spindle speed")
        if speed > self._limits.feed_limit_mm_s:
            self.notes["feeds above the machine's limit were held to it"] += 1
            speed = self._limits.feed_limit_mm_s
        return max(speed, SLOWEST_MM_S)

    def _count(self, length_mm: float, rapid: bool) -> None:
        if self.paths.points > MOST_POINTS:
            raise self._refusal(f"moves through more than {MOST_POINTS} points", "Estimate it in parts.")
        if rapid:
            self.rapid_mm += length_mm
        else:
            self.cut_mm += length_mm

    def _dwell(self, words: dict[str, float]) -> None:
        """P is seconds; on a printer it is thousandths, and S is seconds. Source: common practice for printers."""
        if self._printing:
            seconds = words.get("S", 0.0) + words.get("P", 0.0) / 1000.0
        else:
            seconds = words.get("P", words.get("S", words.get("X", 0.0)))
        if not 0.0 <= seconds <= 86_400.0:
            raise self._refusal("waits longer than a day, or less than nothing", "Check its G4.")
        self.dwell_s += seconds
        self.paths.wait(seconds)

    def _shift(self, words: dict[str, float]) -> None:
        """G92: where the machine is gets another name, which moves nothing."""
        self._filament = words["E"] * self._modes.unit if "E" in words else self._filament
        if any(axis in words for axis in "XYZ"):
            self.notes["G92 gives the place another name; the way there and back is not known"] += 1
            self._name_position(words)

    def _name_position(self, words: dict[str, float]) -> None:
        unit = self._modes.unit
        x, y, z = (words[axis] * unit if axis in words else at for axis, at in zip("XYZ", self._at, strict=True))
        self._at = x, y, z
        self.paths.jump(self._at)

    def _filament_moved(self, words: dict[str, float]) -> float:
        if "E" not in words:
            return 0.0
        value = words["E"] * self._modes.unit
        moved = value - self._filament if self._modes.filament_absolute else value
        self._filament = value if self._modes.filament_absolute else self._filament + value
        return moved

    def _positive(self, value: float, what: str) -> float:
        if not value > 0.0:
            raise self._refusal(f"has a {what} that is not above nothing", "Check its F and S.")
        return value

    def _refusal(self, what: str, cure: str) -> BadFile:
        return BadFile(f"{self._name} {what}.", cure)

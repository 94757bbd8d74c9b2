"""Machine programs drawn from rules and fixed seeds, on which two planners of motion can be compared.

The other planner takes a turn of less than 18° at full speed and stops at one of more than 162°; between them it has
the same rule as ours, v² = a·δ·s/(1 − s). So the turns here lie between 20° and 160°, are full reversals, or are so
shallow that the rule itself allows their feed: at 18° that is v = √(80.2·a·δ).
"""

import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

Point = Sequence[float]

SHALLOW_DEG, SHARP_DEG = 20.0, 160.0


@dataclass(frozen=True)
class Program:
    """A program's text and the machine's figures: mm/s² and mm."""

    text: str
    acceleration_mm_s2: float
    junction_deviation_mm: float


def programs() -> dict[str, Program]:
    """All of them by name, the same at every call."""
    return {
        "squares, one within another": Program(_lines(_squares(), 60), 1500, 0.02),
        "a hatch to and fro": Program(_lines(_hatch(30.0, 0.45, 60), 80), 1500, 0.02),
        "a hatch with a slow machine": Program(_lines(_hatch(12.0, 2.0, 40), 80), 300, 0.05),
        "a spiral in chords": Program(_lines(_spiral(), 40), 1500, 0.02),
        "circles in chords": Program(_lines(_circles(), 45), 1500, 0.02),
        "stars": Program(_lines(_stars(), 90), 2500, 0.01),
        "there and back": Program(_lines(_reversals(random.Random(1)), 70), 1200, 0.05),
        "long lines": Program(_lines([(400, 0), (390, 300), (150, 20), (0, 290), (10, 10)] * 8, 200), 3000, 0.05),
        "a random walk": Program(_lines(_walk(random.Random(2), 400, 1.0, 40.0, 2), 50), 1500, 0.02),
        "a random walk of short steps": Program(_lines(_walk(random.Random(3), 1500, 0.05, 0.6, 2), 50), 1500, 0.02),
        "a random walk in space": Program(_lines(_walk(random.Random(4), 300, 0.5, 25.0, 3), 35), 800, 0.03),
        "a random walk with mixed feeds": Program(_mixed_feeds(random.Random(5)), 1000, 0.05),
        "a random walk of a stopping machine": Program(_lines(_walk(random.Random(6), 300, 0.2, 9.0, 2), 45), 900, 0.0),
        "relative steps": Program(_relative(random.Random(7)), 1500, 0.02),
        "waits on the way": Program(_with_waits(random.Random(8)), 1500, 0.02),
        "a small print": Program(_small_print(), 1500, 0.02),
    }


def _lines(points: Iterable[Point], feed_mm_s: float) -> str:
    moves = [f"G1 {_words(point)}" for point in points]
    return "\n".join(["G21", "G90", f"G1 F{feed_mm_s * 60:g}", *moves, ""])


def _words(point: Point) -> str:
    return " ".join(f"{axis}{value:.5f}" for axis, value in zip("XYZ", point, strict=False))


def _squares() -> Iterator[Point]:
    for inset in range(20):
        low, high = 1.0 + 1.5 * inset, 79.0 - 1.5 * inset
        yield from [(low, low), (high, low), (high, high), (low, high), (low, low)]


def _hatch(width_mm: float, spacing_mm: float, rows: int) -> Iterator[Point]:
    for row in range(rows):
        ends = [(2.0, 2.0 + row * spacing_mm), (2.0 + width_mm, 2.0 + row * spacing_mm)]
        yield from ends if row % 2 == 0 else reversed(ends)


def _spiral() -> Iterator[Point]:
    for step in range(900):
        angle = step * math.pi / 30
        radius = 3.0 + angle / (2 * math.pi)
        yield 40 + radius * math.cos(angle), 40 + radius * math.sin(angle)


def _circles() -> Iterator[Point]:
    for radius in (1.0, 2.5, 5.0, 10.0, 20.0, 35.0):
        for step in range(73):
            yield 40 + radius * math.cos(step * math.pi / 36), 40 + radius * math.sin(step * math.pi / 36)


def _stars() -> Iterator[Point]:
    """Five points, every second one next: turns of 144°. Each star begins aside of where the last one ended."""
    for number, radius in enumerate((3.0, 8.0, 20.0, 45.0)):
        for step in range(6):
            angle = (0.8 * step + 0.3 * number) * math.pi
            yield 50 + radius * math.cos(angle), 50 + radius * math.sin(angle)


def _reversals(chance: random.Random) -> Iterator[Point]:
    """Rays from the origin and back, each turned by 20° to 160° from the one before."""
    angle = 0.0
    for _ in range(60):
        angle += math.radians(chance.uniform(SHALLOW_DEG, SHARP_DEG))
        length = chance.uniform(0.3, 30)
        yield length * math.cos(angle), length * math.sin(angle)
        yield 0.0, 0.0


def _walk(chance: random.Random, steps: int, shortest_mm: float, longest_mm: float, axes: int) -> Iterator[Point]:
    """Steps of random length, each turned from the one before by 20° to 160°; in space about a random axis."""
    at, direction = [0.0] * 3, [1.0, 0.0, 0.0]
    for _ in range(steps):
        turn = math.radians(chance.uniform(SHALLOW_DEG, SHARP_DEG))
        aside = _across(direction, chance, axes)
        direction = [math.cos(turn) * d + math.sin(turn) * e for d, e in zip(direction, aside, strict=True)]
        length = math.exp(chance.uniform(math.log(shortest_mm), math.log(longest_mm)))
        at = [a + length * d for a, d in zip(at, direction, strict=True)]
        yield at[:axes]


def _across(direction: Sequence[float], chance: random.Random, axes: int) -> list[float]:
    """A direction at a right angle to `direction`: in the plane to the left or to the right."""
    if axes == 2:
        side = chance.choice([-1.0, 1.0])
        return [-side * direction[1], side * direction[0], 0.0]
    free = [chance.gauss(0, 1) for _ in range(3)]
    along = sum(a * b for a, b in zip(free, direction, strict=True))
    aside = [a - along * b for a, b in zip(free, direction, strict=True)]
    return [each / math.hypot(*aside) for each in aside]


def _mixed_feeds(chance: random.Random) -> str:
    moves = [f"G1 {_words(p)} F{chance.uniform(8, 60) * 60:.1f}" for p in _walk(chance, 400, 0.5, 30.0, 2)]
    return "\n".join(["G21", "G90", *moves, ""])


def _relative(chance: random.Random) -> str:
    lines, before = ["G21", "G91", "G1 F2520"], [0.0, 0.0]
    for point in _walk(chance, 200, 0.5, 25.0, 2):
        lines.append(f"G1 {_words([to - at for to, at in zip(point, before, strict=True)])}")
        before = list(point)
    return "\n".join([*lines, ""])


def _with_waits(chance: random.Random) -> str:
    """A wait of P thousandths of a second after every twentieth move."""
    lines = ["G21", "G90", "G1 F2400"]
    for count, point in enumerate(_walk(chance, 200, 1.0, 20.0, 2), 1):
        lines.append(f"G1 {_words(point)}")
        if count % 20 == 0:
            lines.append(f"G4 P{chance.randint(50, 900)}")
    return "\n".join([*lines, ""])


def _small_print() -> str:
    """Twelve layers of two contours and a hatch, filament in relative steps, drawn back and pushed on at each lift."""
    lines = ["G21", "G90", "M83"]
    for layer in range(12):
        z = 0.2 + 0.2 * layer
        lines += ["G1 E-0.8 F1800", f"G1 Z{z + 0.4:.2f} F900", "G1 X20 Y20 F9000", f"G1 Z{z:.2f} F900", "G1 E0.8 F1800"]
        for inset, feed in ((0.0, 2700), (0.45, 2700)):
            low, high = 20.0 + inset, 45.0 - inset
            corners = [(low, low), (high, low), (high, high), (low, high), (low, low)]
            lines.append(f"G1 {_words(corners[0])} F9000")
            lines += [f"G1 {_words(corner)} E{25 * 0.037:.4f} F{feed}" for corner in corners[1:]]
        rows = [(x + 21.0, y + 21.0) for x, y in _hatch(20.0, 0.45, 40)]
        lines += [f"G1 {_words(rows[0])} F9000", *(f"G1 {_words(row)} E0.5 F3600" for row in rows[1:])]
    return "\n".join([*lines, ""])

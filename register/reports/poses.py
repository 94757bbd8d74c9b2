"""Poses as a table, and the one sentence of advice."""

from rich.console import Group, RenderableType

from register.domain.poses import PoseAdvice, PoseEstimate, PoseSaving
from register.reports.wording import Row, joined, line, table
from register.units.written import written_duration, written_length, written_mass

_FIGURES = ("no.", "height", "foot, cm²", "support, cm³", "time", "mass")
# Less support than this is none.
LEAST_SUPPORT_MM3 = 50.0
_NONE_BETTER = "No other pose that stands saves 5 % of the time or 10 minutes without more support."


def pose_report(advice: PoseAdvice) -> RenderableType:
    """Every pose with what it takes, and what a turn would save."""
    headings = ("no.", "pose", "height", "foot, cm²", "support, cm³", "time", "mass", "fits")
    shown: list[RenderableType] = [table(headings, [_row(each) for each in advice.poses], _FIGURES)]
    if advice.support_assumed:
        angle = f"{advice.support_angle_deg:g}°"
        shown.append(line(f"Reckoned with support beyond {angle}; the settings themselves print none."))
    if not all(each.stands for each in advice.poses):
        shown.append(line("A pose marked * does not stand by itself."))
    shown.append(line(said(advice) or _NONE_BETTER, "bold"))
    return Group(*shown)


def said(advice: PoseAdvice) -> str:
    """The advice in a sentence; "" where there is none to give."""
    if advice.keep_pose:
        return kept(advice.keep_pose)
    if advice.better is None:
        return ""
    drawn, better = advice.as_drawn, advice.pose(advice.better)
    if drawn.duration_s is None or better.duration_s is None:
        laid = _laid(better.name)
        return f"As drawn it fits no printer; {laid[0].lower()}{laid[1:]} it fits {joined(better.printers)}."
    times = f"{written_duration(better.duration_s)} instead of {written_duration(drawn.duration_s)}"
    less_mm3 = (drawn.support_mm3 or 0.0) - (better.support_mm3 or 0.0)
    return f"{_laid(better.name)} it would print in {times}{_less_support(less_mm3)}; the file was not turned."


def said_beside(saving: PoseSaving) -> str:
    """What a turn may save, beside an estimate of the part as drawn."""
    angle = f" with support beyond {saving.support_angle_deg:g}°" if saving.support_assumed else ""
    times = f"{written_duration(_about(saving.turned_s))} instead of {written_duration(_about(saving.drawn_s))}"
    support = _less_support(saving.less_support_mm3)
    return (
        f"{_laid(saving.name)} it would print in about {times}{support}{angle}; the file was not turned "
        "(`--poses` compares)."
    )


def _about(duration_s: float) -> float:
    return round(duration_s / 60.0) * 60.0


def _less_support(less_mm3: float) -> str:
    return f" and need {less_mm3 / 1000.0:.3g} cm³ less support" if less_mm3 > LEAST_SUPPORT_MM3 else ""


def kept(keep_pose: str) -> str:
    """That a part is not to be turned, and why."""
    return f"Printed as drawn: {keep_pose}"


def _laid(pose: str) -> str:
    return f"Laid {pose}" if pose.startswith("on ") else f"Turned {pose.removeprefix('turned ')}"


def _row(pose: PoseEstimate) -> Row:
    turn = f", turned {pose.turn_deg:.0f}° on the bed" if pose.turn_deg else ""
    return (
        str(pose.number),
        f"{pose.name}{turn}{'' if pose.stands else ' *'}",
        written_length(round(pose.size_mm[2], 2)),
        f"{pose.footprint_mm2 / 100.0:.2f}",
        None if pose.support_mm3 is None else f"{pose.support_mm3 / 1000.0:.2f}",
        None if pose.duration_s is None else written_duration(pose.duration_s),
        None if pose.mass_g is None else written_mass(pose.mass_g),
        joined(pose.printers) or "no printer",
    )

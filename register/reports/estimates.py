"""Estimates in words and tables."""

from rich.console import Group, RenderableType

from register.domain.estimates import BoughtEstimate, Estimate, PrintedEstimate, ProgramEstimate, RoutedEstimate
from register.domain.poses import AS_DRAWN
from register.domain.stock import SpoolAdvice
from register.reports.stock import spool_words
from register.reports.wording import counted, grid, line
from register.units.money import written_money
from register.units.written import written_duration, written_length, written_mass

_FAST = "fast, from areas, outlines and a few lines of each layer"
_EXACT = "exactly, every line drawn and planned"


def figures(estimate: Estimate, currency: str) -> str:
    """An estimate in one line: mass, time, cost."""
    money = written_money(estimate.cost_cents, currency)
    if isinstance(estimate, BoughtEstimate):
        return f"{money}, {counted(estimate.lead_days, 'day')} to deliver"
    return f"{written_mass(estimate.mass_g)}, {written_duration(estimate.duration_s)}, {money}"


def estimate_report(estimate: Estimate, currency: str, spools: SpoolAdvice | None = None) -> RenderableType:
    """An estimate whole, and what of the stock on hand suffices for it."""
    rows = [*_rows(estimate), ("cost of one", written_money(estimate.cost_cents, currency))]
    if spools is not None:
        rows.append(("stock for it", " ".join(spool_words(spools))))
    shown: list[RenderableType] = [grid(rows)]
    shown += [line(f"! {warning}", "bold") for warning in estimate.warnings]
    return Group(*shown)


def program_report(estimate: ProgramEstimate) -> RenderableType:
    """What a machine program takes."""
    rows = [
        ("program", f"{counted(estimate.blocks, 'block')} on {estimate.machine}"),
        ("cut", f"{estimate.cut_length_mm / 1000:.2f} m, and {estimate.rapid_length_mm / 1000:.2f} m between"),
        ("tool changes", str(estimate.tool_changes)),
        ("time of one", _span(estimate)),
    ]
    return Group(grid(rows), *(line(f"! {warning}", "bold") for warning in estimate.warnings))


def _rows(estimate: Estimate) -> list[tuple[str, str]]:
    if isinstance(estimate, PrintedEstimate):
        return _printed(estimate)
    if isinstance(estimate, RoutedEstimate):
        return _routed(estimate)
    rows = [("process", "bought"), ("lead time", counted(estimate.lead_days, "day"))]
    if estimate.order_by is not None:
        rows.append(("order by", estimate.order_by.isoformat()))
    return rows


def _printed(estimate: PrintedEstimate) -> list[tuple[str, str]]:
    spent = estimate.volumes_mm3
    shares = ("contours", "solid_layers", "infill", "support", "bed_edge")
    used = ", ".join(
        f"{name.replace('_', ' ')} {getattr(spent, name) / 1000:.2f}" for name in shares if getattr(spent, name)
    )
    return [
        ("process", f"printed on {estimate.machine} in {estimate.material}, {estimate.settings}"),
        *_turned(estimate),
        ("size", " × ".join(written_length(side) for side in estimate.size_mm)),
        ("solid volume", f"{estimate.solid_volume_mm3 / 1000:.2f} cm³, {counted(estimate.bodies, 'body', 'bodies')}"),
        ("material used", f"{spent.total / 1000:.2f} cm³ ({used})"),
        *_taken(estimate),
        ("time of one", _span(estimate)),
        *([("reckoned", _EXACT if estimate.exact else _FAST)] if estimate.powder is None else []),
    ]


def _taken(estimate: PrintedEstimate) -> list[tuple[str, str]]:
    mass, load = written_mass(estimate.mass_g), estimate.powder
    if load is None:
        return [("mass of one", f"{mass}, {estimate.filament_mm / 1000:.2f} m of filament")]
    fresh = f"{written_mass(load.fresh_g)} fresh, of which {written_mass(load.unusable_g)} cannot be used again"
    alone = f"or one alone in {written_duration(load.lone_load_s)}"
    return [
        ("mass of one", mass),
        ("powder for one", fresh),
        ("full load", f"{counted(load.pieces, 'such piece')} in {written_duration(load.full_load_s)}, {alone}"),
    ]


def _turned(estimate: PrintedEstimate) -> list[tuple[str, str]]:
    return [] if estimate.pose == AS_DRAWN else [("pose", f"{estimate.pose}; the file was not turned")]


def _routed(estimate: RoutedEstimate) -> list[tuple[str, str]]:
    sizes: dict[float, int] = {}
    for hole in estimate.holes:
        sizes[round(hole.diameter_mm, 3)] = sizes.get(round(hole.diameter_mm, 3), 0) + 1
    holes = ", ".join(f"{count} × {written_length(size)}" for size, count in sorted(sizes.items()))
    return [
        ("process", f"routed on {estimate.machine} in {estimate.material}, {written_length(estimate.thickness_mm)}"),
        ("size", " × ".join(written_length(side) for side in estimate.size_mm[:2])),
        ("openings", f"holes {holes or 'none'}; {counted(estimate.slots, 'slot')}"),
        *_pockets(estimate),
        (
            "cut with",
            f"{estimate.tool}, {estimate.spindle_rpm:.0f} rpm, {estimate.feed_mm_s * 60:.0f} mm/min, "
            f"{counted(estimate.passes, 'pass', 'passes')}, {estimate.cut_length_mm / 1000:.2f} m of cut",
        ),
        ("mass of one", written_mass(estimate.mass_g)),
        ("time of one", _span(estimate)),
    ]


def _pockets(estimate: RoutedEstimate) -> list[tuple[str, str]]:
    said = ", ".join(
        f"{each.area_mm2 / 100:.2f} cm², {written_length(each.depth_mm)} deep" for each in estimate.pockets
    )
    return [("pockets", said)] if said else []


def _span(estimate: PrintedEstimate | RoutedEstimate | ProgramEstimate) -> str:
    low, high = written_duration(estimate.duration_low_s), written_duration(estimate.duration_high_s)
    return f"{written_duration(estimate.duration_s)} (likely {low} to {high}, not yet calibrated)"

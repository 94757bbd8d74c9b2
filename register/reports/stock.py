"""Stock as a table."""

from rich.console import RenderableType

from register.domain.stock import Lot, SpoolAdvice, StockForm
from register.reports.wording import counted, line, near, table
from register.units.written import written_length, written_mass


def stock_list(lots: tuple[Lot, ...], zone: str) -> RenderableType:
    """What is left of every lot."""
    if not lots:
        return line("No stock is there yet. Add a lot with `pitwright stock add LABEL MATERIAL AMOUNT`.")
    rows = [
        (
            each.label,
            each.material,
            _size(each),
            written_mass(each.amount) if each.form.weighed else _pieces(each),
            f"comes {near(each.arrives, zone)}" if each.arrives else "on hand",
            each.note,
        )
        for each in lots
    ]
    return table(("lot", "material", "size", "left", "", "note"), rows, ("left",))


def spool_words(advice: SpoolAdvice) -> tuple[str, ...]:
    """Which spool suffices, which two would, or what is short; then what is to be watched."""
    return (_sufficing(advice), *advice.cautions)


def _sufficing(advice: SpoolAdvice) -> str:
    noun = "spool" if advice.form is StockForm.SPOOL else "lot"
    need = f"{written_mass(advice.need_g)} of {advice.material}"
    if not advice.lots:
        return f"{need} is needed, and there is none on hand."
    if advice.short_g > 0:
        return f"{written_mass(advice.short_g)} short: {need} is needed, and {_held(advice, noun)}."
    if not advice.uses:
        return f"No two {noun}s hold {need}: {_held(advice, noun)}. Make it in several jobs."
    last = advice.uses[-1]
    stays = f"{written_mass(last.left_g)} stays"
    if len(advice.uses) == 1:
        return f"{last.lot} suffices: {need} is needed, and of its {written_mass(last.holds_g)} {stays}."
    taken = " and ".join(f"{written_mass(use.takes_g)} of {use.lot}" for use in advice.uses)
    return f"No {noun} holds {need} alone; {taken} do together, and {stays} of {last.lot}."


def _held(advice: SpoolAdvice, noun: str) -> str:
    hold = "holds" if advice.lots == 1 else "hold"
    return f"{counted(advice.lots, noun)} on hand {hold} {written_mass(advice.on_hand_g)}"


def _pieces(lot: Lot) -> str:
    """`2 sheets`, `0.5 sheets`, `1 offcut`."""
    return f"{lot.amount:.4g} {lot.form.value}{'' if lot.amount == 1 else 's'}"


def _size(lot: Lot) -> str | None:
    if lot.thickness_mm is None or lot.width_mm is None or lot.length_mm is None:
        return None
    return f"{written_length(lot.thickness_mm)}, {lot.width_mm:g} × {lot.length_mm:g} mm"

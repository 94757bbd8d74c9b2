"""Stock: what there is, what came, what was used, what was counted."""

import math
from collections.abc import Sequence
from dataclasses import replace

from register.domain.estimates import Estimate, PrintedEstimate
from register.domain.materials import Form, Material
from register.domain.stock import Lot, SpoolAdvice, StockForm, StockMove
from register.domain.texts import NOTE_LENGTH, NUMBER_LENGTH, clean_text
from register.errors import NotAllowed
from register.estimate.whole import material_named
from register.opening import Register
from register.stocking.spools import spools_for
from register.store import jobs, shops, stock

MOST = 1e7


def list_stock(register: Register) -> tuple[Lot, ...]:
    """Every lot with what is left of it."""
    with register.store.reading() as view:
        return stock.lots(view)


def spools_on_hand(register: Register, estimate: Estimate, quantity: int = 1) -> SpoolAdvice | None:
    """Which spool on hand suffices for so many pieces, or which two; None for what is not printed."""
    if not isinstance(estimate, PrintedEstimate):
        return None
    with register.store.reading() as view:
        promised_g = jobs.promised_g(view).get(estimate.material, 0.0)
        return spools_for(estimate, quantity, stock.lots(view), register.clock(), promised_g)


def add_lot(register: Register, wanted: Lot) -> Lot:
    """Add a lot. One that is weighed takes the form of its material, a spool or powder.

    Raises
    ------
    UnknownMaterial
        If the shop has no such material.
    NotAllowed
        If the label is taken or a size is missing.
    """
    label = clean_text(wanted.label, "label", NUMBER_LENGTH)
    note = clean_text(wanted.note, "note", NOTE_LENGTH) if wanted.note.strip() else ""
    _checked_amount(wanted.amount)
    with register.store.writing(register.who, f"add lot {label}") as tx:
        known = shops.settings(tx)
        form = _form(wanted, known.materials)
        material = material_named(wanted.material, form.material_form, known).name
        sizes = (wanted.thickness_mm, wanted.width_mm, wanted.length_mm)
        if not form.weighed and not all(size is not None and 0 < size < MOST for size in sizes):
            raise NotAllowed(f"Lot {label} is sheet without its size.", "Give --thickness, --width and --length.")
        stock.add_lot(tx, replace(wanted, label=label, note=note, material=material, form=form))
        return stock.lot(tx, label)


def use_stock(register: Register, label: str, amount: float, note: str = "") -> Lot:
    """Book what was used of a lot: grams of a spool or of powder, pieces of sheet.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such lot, or it holds less.
    """
    _checked_amount(amount)
    note = clean_text(note, "note", NOTE_LENGTH) if note.strip() else ""
    with register.store.writing(register.who, f"use {amount:g} of {label}") as tx:
        return stock.move_lot(tx, label, StockMove.USED, -amount, note=note)


def count_lot(register: Register, label: str, amount: float, why: str) -> Lot:
    """Set a lot to what was counted; a count that differs needs its reason.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such lot, or the count differs and no reason is given.
    """
    if amount != 0:
        _checked_amount(amount)
    with register.store.writing(register.who, f"count {label}") as tx:
        standing = stock.lot(tx, label)
        if abs(standing.amount - amount) > 1e-9 and not why.strip():
            raise NotAllowed(f"{label} should hold {standing.amount:g}, not {amount:g}.", "Say why with --because.")
        note = clean_text(why, "reason", NOTE_LENGTH) if why.strip() else ""
        return stock.move_lot(tx, label, StockMove.COUNTED, amount - standing.amount, note=note)


def _form(wanted: Lot, materials: Sequence[Material]) -> StockForm:
    powders = {each.name.casefold() for each in materials if each.form is Form.POWDER}
    if wanted.form is StockForm.SPOOL and wanted.material.strip().casefold() in powders:
        return StockForm.POWDER
    return wanted.form


def _checked_amount(amount: float) -> None:
    if not (math.isfinite(amount) and 0 < amount <= MOST):
        raise NotAllowed(f"{amount:g} is no amount of stock.", "Give a number above zero.")

"""`pitwright stock`: spools, powder, sheets and offcuts."""

import re
from dataclasses import asdict
from typing import Annotated, Any

import typer

from register.actions import stock
from register.cli.here import Nouns, here
from register.domain.stock import Lot, StockForm
from register.errors import BadQuantity
from register.opening import Register
from register.reports import stock as reports
from register.units.quantities import length_mm, mass_g
from register.units.sheets import split_material

verbs = Nouns("Stock: spools, powder, sheets and offcuts.")

Label = Annotated[str, typer.Argument(help="Label of the lot.")]


@verbs.verb("list")
def list_(context: typer.Context) -> None:
    """List what is left of every lot."""
    place = here(context)
    lots = stock.list_stock(place.register)
    place.show([_view(lot) for lot in lots], lambda: reports.stock_list(lots, place.shop.zone))


@verbs.verb("add")
def add(
    context: typer.Context,
    label: Label,
    material: Annotated[str, typer.Argument(help='"PLA", or for sheet "6061 3.175 mm".')],
    amount: Annotated[str, typer.Argument(help="Of a spool or powder 1 kg or 800 g; of sheet the number of pieces.")],
    width: Annotated[str | None, typer.Option(help="Of a sheet: 610 mm, 24 in.")] = None,
    length: Annotated[str | None, typer.Option(help="Of a sheet: 1220 mm, 48 in.")] = None,
    offcut: Annotated[bool, typer.Option("--offcut", help="A piece left over from a sheet.")] = False,
    arrives: Annotated[str | None, typer.Option(help="When it comes, if it is on order.")] = None,
    note: Annotated[str, typer.Option(help="Anything to know of it.")] = "",
) -> None:
    """Add a lot of stock."""
    place = here(context)
    name, thickness_mm = split_material(material)
    form = StockForm.SPOOL if thickness_mm is None else StockForm.OFFCUT if offcut else StockForm.SHEET
    wanted = Lot(
        label,
        name,
        form,
        mass_g(amount, "g") if form is StockForm.SPOOL else _pieces(amount),
        thickness_mm,
        length_mm(width, "mm") if width else None,
        length_mm(length, "mm") if length else None,
        place.moment(arrives) if arrives else None,
        note,
    )
    lot = stock.add_lot(place.register, wanted)
    place.show(_view(lot), lambda: reports.stock_list((lot,), place.shop.zone))


@verbs.verb("use")
def use(
    context: typer.Context,
    label: Label,
    amount: Annotated[str, typer.Argument(help="Of a spool 120 g; of sheet the number of pieces.")],
    note: Annotated[str, typer.Option(help="What for.")] = "",
) -> None:
    """Book what was used of a lot."""
    place = here(context)
    lot = stock.use_stock(place.register, label, _amount(place.register, label, amount), note)
    place.show(_view(lot), lambda: reports.stock_list((lot,), place.shop.zone))


@verbs.verb("count")
def count(
    context: typer.Context,
    label: Label,
    amount: Annotated[str, typer.Argument(help="What is there: 640 g, or the number of pieces.")],
    because: Annotated[str, typer.Option(help="Why the count differs.")] = "",
) -> None:
    """Set a lot to what was counted."""
    place = here(context)
    lot = stock.count_lot(place.register, label, _amount(place.register, label, amount), because)
    place.show(_view(lot), lambda: reports.stock_list((lot,), place.shop.zone))


def _view(lot: Lot) -> dict[str, Any]:
    """The lot as JSON shows it: with what its amount counts."""
    return asdict(lot) | {"unit": "g" if lot.form.weighed else "pieces"}


def _amount(register: Register, label: str, text: str) -> float:
    standing = next((lot for lot in stock.list_stock(register) if lot.label == label.strip()), None)
    if standing is not None and not standing.form.weighed:
        return _pieces(text)
    return mass_g(text, "g")


def _pieces(text: str) -> float:
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,3})?", plain):
        raise BadQuantity(f"{text!r} is no number of sheets.", "Write 2, or 0.5 for half of one.")
    return float(plain)

"""How many like pieces go into a load of a machine or onto a sheet: bounding boxes side by side."""

import math

from register.domain.estimates import Size
from register.errors import BadQuantity, DoesNotFit

MOST_PIECES = 100_000
_SLACK = 1e-9


def loads(quantity: int, size_mm: Size, bed_mm: Size, gap_mm: float) -> tuple[int, ...]:
    """Pieces in each load of a machine, full loads first.

    Parameters
    ----------
    quantity
        Pieces wanted, at most 100000.
    size_mm, bed_mm
        The piece's box and the machine's usable travel, x, y and z. The piece may be turned about z by 90°.
    gap_mm
        Between pieces; none is kept at the bed's edge.

    Returns
    -------
    tuple of int
        They add up to `quantity`; empty for none.

    Raises
    ------
    DoesNotFit
        If not one piece fits.
    BadQuantity
        If a length or the quantity is out of range.
    """
    _check(quantity, (*size_mm, *bed_mm), gap_mm)
    each = _on_area(size_mm[0], size_mm[1], bed_mm[0], bed_mm[1], gap_mm, quantity)
    if size_mm[2] > bed_mm[2] * (1 + _SLACK) or (each == 0 and quantity > 0):
        raise DoesNotFit(
            f"A piece of {_sides(size_mm)} mm does not fit into {_sides(bed_mm)} mm.",
            "Turn it, split it or choose a larger machine.",
        )
    return _split(quantity, each)


def sheets(
    quantity: int, size_mm: tuple[float, ...], sheet_mm: tuple[float, float], gap_mm: float, margin_mm: float
) -> int:
    """Whole sheets that `quantity` like pieces take.

    Parameters
    ----------
    size_mm
        The piece's box; only x and y count.
    sheet_mm
        Width and length of the sheet.
    gap_mm, margin_mm
        Between pieces, and round the sheet's edge.

    Raises
    ------
    DoesNotFit
        If not one piece fits.
    BadQuantity
        If a length or the quantity is out of range.
    """
    _check(quantity, (*size_mm[:2], *sheet_mm), gap_mm)
    if not 0 <= margin_mm < math.inf:
        raise BadQuantity(f"A margin of {margin_mm} mm cannot be kept.", "Give 0 mm or more.")
    width_mm, length_mm = (side - 2 * margin_mm for side in sheet_mm)
    each = _on_area(size_mm[0], size_mm[1], width_mm, length_mm, gap_mm, quantity)
    if each == 0 and quantity > 0:
        raise DoesNotFit(
            f"A piece of {_sides(size_mm[:2])} mm does not fit on a sheet of {_sides(sheet_mm)} mm "
            f"with a margin of {margin_mm:g} mm.",
            "Turn it, split it or choose a larger sheet.",
        )
    return len(_split(quantity, each))


def _check(quantity: int, lengths_mm: tuple[float, ...], gap_mm: float) -> None:
    if not 0 <= quantity <= MOST_PIECES:
        raise BadQuantity(f"{quantity} pieces cannot be laid out.", f"Ask for 0 to {MOST_PIECES}.")
    if not all(0 < length < math.inf for length in lengths_mm):
        raise BadQuantity("A side of the piece or of the bed is not above 0 mm.", "Measure it again.")
    if not 0 <= gap_mm < math.inf:
        raise BadQuantity(f"A gap of {gap_mm} mm cannot be kept.", "Give 0 mm or more.")


def _split(quantity: int, each: int) -> tuple[int, ...]:
    if quantity == 0:
        return ()
    full, rest = divmod(quantity, each)
    return (each,) * full + ((rest,) if rest else ())


def _on_area(x_mm: float, y_mm: float, width_mm: float, length_mm: float, gap_mm: float, enough: int) -> int:
    """Pieces on an area: the better plain grid, or two blocks side by side with the pieces of one turned.

    Counting stops at `enough`.
    """
    best = 0
    for across_mm, along_mm in ((x_mm, y_mm), (y_mm, x_mm)):
        for wide_mm, long_mm, step_mm, depth_mm in (
            (width_mm, length_mm, across_mm, along_mm),
            (length_mm, width_mm, across_mm, along_mm),
        ):
            best = max(best, _two_blocks(wide_mm, long_mm, step_mm, depth_mm, gap_mm, enough))
    return min(best, enough)


def _two_blocks(wide_mm: float, long_mm: float, step_mm: float, depth_mm: float, gap_mm: float, enough: int) -> int:
    """The best split of the area into columns of pieces as they lie, and a rest with pieces turned."""
    deep = _row(long_mm, depth_mm, gap_mm)
    turned_deep = _row(long_mm, step_mm, gap_mm)
    columns = _row(wide_mm, step_mm, gap_mm)
    if columns * deep >= enough:
        return enough
    best = 0
    for kept in range(columns + 1 if deep else 1):
        rest_mm = wide_mm - kept * (step_mm + gap_mm)
        best = max(best, kept * deep + _row(rest_mm, depth_mm, gap_mm) * turned_deep)
    return best


def _row(room_mm: float, piece_mm: float, gap_mm: float) -> int:
    """Pieces in a row: n pieces and n - 1 gaps."""
    if room_mm < piece_mm * (1 - _SLACK):
        return 0
    pieces = (room_mm + gap_mm) / (piece_mm + gap_mm) * (1 + _SLACK)
    return math.floor(min(pieces, MOST_PIECES))


def _sides(sides_mm: tuple[float, ...]) -> str:
    return " × ".join(f"{side:g}" for side in sides_mm)

"""The fast form against the exact one over a few parts; the short form of `tests/benchmarks/print_accuracy.py`."""

import statistics

import pytest

from register.geometry.meshes import read_mesh
from tests.benchmarks.print_accuracy import DURATION_LIMITS, PARTS, VOLUME_LIMITS, Compared, compared, random_part, stl

SHORT = ("cube", "gear", "thin-wall box", "comb", "two bodies", "table")


@pytest.fixture(scope="module", params=["default", "supported"])
def rows(request: pytest.FixtureRequest) -> list[Compared]:
    parts = [(name, PARTS[name]()) for name in SHORT] + [("by chance", random_part(5))]
    return [compared(name, read_mesh(stl(solid), name), request.param) for name, solid in parts]


@pytest.mark.parametrize(("figure", "limits"), [("duration_off", DURATION_LIMITS), ("volume_off", VOLUME_LIMITS)])
def test_the_fast_form_is_near_to_every_line_drawn(
    rows: list[Compared], figure: str, limits: tuple[float, float]
) -> None:
    off = {row.part: abs(getattr(row, figure)) for row in rows}
    assert statistics.median(off.values()) <= limits[0], off
    assert max(off.values()) <= limits[1], off


def test_the_two_forms_are_worked_out_apart(rows: list[Compared]) -> None:
    assert all(row.exact_s != row.fast_s and row.exact_mm3 != row.fast_mm3 for row in rows)

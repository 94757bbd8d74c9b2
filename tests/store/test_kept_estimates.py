"""Estimates that earlier versions kept still read, and say what they are."""

import json
from dataclasses import asdict, fields

import pytest

from register.domain.estimates import PrintedEstimate, PrintedVolumes
from register.store.parts import estimate_from

# As the first version kept it.
KEPT = """{"process": "printed", "sha256": "ab", "triangles": 12, "size_mm": [20.0, 20.0, 20.0],
"solid_volume_mm3": 8000.0, "surface_area_mm2": 2400.0, "closed": true, "bodies": 1, "material": "PLA",
"settings": "0.2 mm layers", "machine": "printer", "layers": 100,
"volumes_mm3": {"contours": 1.0, "solid_layers": 2.0, "infill": 3.0, "support": 0.0, "bed_edge": 0.0, "total": 6.0},
"mass_g": 4.5, "filament_mm": 1500.0, "duration_s": 1350.0, "duration_low_s": 1100.0, "duration_high_s": 1650.0,
"cost_cents": 50, "warnings": ["thin"]}"""


def test_an_estimate_kept_before_there_was_an_exact_form_is_a_fast_one() -> None:
    found = estimate_from(json.loads(KEPT))
    assert isinstance(found, PrintedEstimate)
    assert found.exact is False
    assert found.volumes_mm3 == PrintedVolumes(1.0, 2.0, 3.0, 0.0, 0.0, 6.0)
    assert (found.size_mm, found.warnings) == ((20.0, 20.0, 20.0), ("thin",))


@pytest.mark.parametrize("exact", [True, False])
def test_an_estimate_comes_back_as_it_was_kept(exact: bool) -> None:
    kept = json.loads(KEPT) | {"exact": exact}
    found = estimate_from(kept)
    again = estimate_from(json.loads(json.dumps(asdict(found))))
    assert again == found
    assert isinstance(again, PrintedEstimate) and again.exact is exact
    assert {each.name for each in fields(found)} >= set(kept)

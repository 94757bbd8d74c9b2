"""Cautions: the words of ANSI Z535, the gravest first, and never less for a material that nobody knows."""

import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.hazards import DEFERRING, Hazard, SignalWord, Substance, cautions, substances
from register.domain.materials import Form
from register.domain.parts import Process

# Source: ANSI Z535.4-2007, 4.14 (second-hand, safetylabel.com): DANGER will, WARNING could result in death or serious
# injury if not avoided, CAUTION could result in minor or moderate injury, NOTICE is about practice and not injury.
GRAVEST_FIRST = ["DANGER", "WARNING", "CAUTION", "NOTICE"]

PROCESSES = st.sampled_from(Process)
FORMS = st.sampled_from([None, *Form])
DIAMETERS = st.none() | st.floats(0.1, 20.0)


def said(hazards: tuple[Hazard, ...]) -> str:
    return " ".join(f"{each.what} {each.against}" for each in hazards).casefold()


def routed(material: str, tool_mm: float | None = 6.35, unattended: bool = False) -> tuple[Hazard, ...]:
    return cautions(Process.ROUTED, material, Form.SHEET, tool_mm, unattended)


def printed(material: str, unattended: bool = False) -> tuple[Hazard, ...]:
    return cautions(Process.PRINTED, material, Form.FILAMENT, None, unattended)


def signal_of(hazards: tuple[Hazard, ...], word: str) -> SignalWord:
    """The gravest signal of the hazards that say `word`."""
    return next(each.signal for each in hazards if word in said((each,)))


def test_the_signal_words_are_the_four_of_the_standard_gravest_first() -> None:
    assert [word.value for word in SignalWord] == GRAVEST_FIRST


@given(PROCESSES, st.text(max_size=40), FORMS, DIAMETERS, st.booleans())
def test_cautions_come_gravest_first_each_once_and_always_end_by_deferring(
    process: Process, material: str, form: Form | None, tool_mm: float | None, unattended: bool
) -> None:
    hazards = cautions(process, material, form, tool_mm, unattended)
    ranks = [GRAVEST_FIRST.index(each.signal) for each in hazards]
    assert ranks == sorted(ranks)
    assert len(set(hazards)) == len(hazards) > 1
    assert hazards[-1] == DEFERRING
    assert [each for each in hazards if each.signal is SignalWord.NOTICE] == [DEFERRING]
    for each in hazards:
        assert each.what.endswith(".")
        assert each.against.endswith(".")


@pytest.mark.parametrize("unattended", [False, True])
@pytest.mark.parametrize("material", ["PA12 powder", "unobtainium"])
def test_powder_warns_of_fire_lungs_hot_loads_and_fumes_and_of_no_nozzle(material: str, unattended: bool) -> None:
    hazards = cautions(Process.PRINTED, material, Form.POWDER, None, unattended)
    assert signal_of(hazards, "explode") is SignalWord.WARNING
    assert signal_of(hazards, "lungs") is SignalWord.WARNING
    assert signal_of(hazards, "opened hot") is SignalWord.WARNING
    assert signal_of(hazards, "fumes") is SignalWord.WARNING
    assert "nozzle" not in said(hazards)
    assert ("nobody there" in said(hazards)) is unattended
    assert "machine's manual" in said((hazards[-1],))


def test_print_whose_material_comes_in_no_known_form_is_warned_of_both() -> None:
    hazards = said(cautions(Process.PRINTED, "PA12", None, None, False))
    assert "nozzle" in hazards and "fine powder" in hazards


def test_the_last_words_defer_to_manual_local_codes_and_licensed_practice() -> None:
    for word in ("machine's manual", "local codes", "licensed practice"):
        assert word in DEFERRING.against


@pytest.mark.parametrize("material", ["6061", "birch plywood", "acetal", "unobtainium"])
def test_every_routed_job_warns_of_cutter_hair_hold_down_eyes_noise_and_edges(material: str) -> None:
    hazards = routed(material)
    assert hazards[0].signal is SignalWord.DANGER
    assert "cutter" in hazards[0].what
    assert signal_of(hazards, "hair") is SignalWord.WARNING
    assert signal_of(hazards, "hold the sheet down") is SignalWord.WARNING
    assert signal_of(hazards, "safety glasses") is SignalWord.WARNING
    assert signal_of(hazards, "hearing") is SignalWord.CAUTION
    assert "edges" in said(hazards)


@pytest.mark.parametrize(
    ("material", "words"),
    [
        ("6061-T6", ["aluminium dust", "class d", "metal chips"]),
        ("Aluminum 5052", ["aluminium dust", "class d", "metal chips"]),
        ("magnesium AZ31", ["magnesium", "do not cut it without"]),
        ("brass C36000", ["metal chips"]),
        ("birch plywood", ["wood dust", "dust mask"]),
        ("MDF", ["wood dust"]),
        ("carbon fibre", ["respirator", "shorts electronics"]),
        ("G10", ["respirator"]),
        # Acetal is a polymer of formaldehyde and gives it off when overheated; hot PVC gives off hydrogen chloride;
        # the two must be kept apart. Source: routsis.blog 2011 and 2021, on safety with PVC and acetal.
        ("acetal copolymer", ["formaldehyde", "melts"]),
        ("PVC foam", ["hydrogen chloride", "apart from acetal"]),
        ("polycarbonate", ["irritating fumes", "melts"]),
        ("PC", ["irritating fumes"]),
        ("acrylic", ["melts"]),
    ],
)
def test_each_sheet_material_brings_its_own_cautions(material: str, words: list[str]) -> None:
    for word in words:
        assert word in said(routed(material))


def test_a_known_sheet_material_brings_no_caution_of_another() -> None:
    for material, other in [("6061", "wood dust harms"), ("birch plywood", "aluminium"), ("PC", "formaldehyde")]:
        assert other not in said(routed(material))


def test_an_unknown_material_is_treated_as_the_worst_of_its_process() -> None:
    unknown_cut = set(routed("unobtainium"))
    for material in ("6061", "magnesium", "birch plywood", "G10", "acetal", "PVC", "PC", "acrylic", "brass"):
        assert set(routed(material)) <= unknown_cut, material
    unknown_print = said(printed("unobtainium"))
    assert "safety data sheet before printing" in unknown_print
    assert "extraction to the outside" in unknown_print


@pytest.mark.parametrize("material", ["PLA", "ABS", "unobtainium"])
def test_every_print_warns_of_heat_motion_and_the_scraper(material: str) -> None:
    hazards = printed(material)
    for word in ("nozzle and bed are hot", "pinch", "scraper"):
        assert signal_of(hazards, word) is SignalWord.CAUTION


# Printers give off particles and volatile compounds above the background. Source: Peterson, Dyrdahl and Bruss 2022,
# ijamm.pubpub.org (abstract seen). Which plastics are worse: from memory.
@pytest.mark.parametrize("material", ["ABS", "ASA", "PC", "PA12", "PA12-CF", "nylon", "unobtainium"])
def test_plastics_with_harmful_fumes_get_a_warning(material: str) -> None:
    assert signal_of(printed(material), "ultra-fine particles") is SignalWord.WARNING


@pytest.mark.parametrize("material", ["PLA", "PETG", "TPU", "red PLA"])
def test_mild_plastics_get_a_caution_to_ventilate(material: str) -> None:
    hazards = printed(material)
    assert signal_of(hazards, "ultra-fine particles") is SignalWord.CAUTION
    assert "ventilate" in said(hazards)


def test_an_unattended_print_warns_of_fire_and_names_leave_detector_and_surroundings() -> None:
    assert "fire" not in said(printed("PLA"))
    alone = printed("PLA", unattended=True)
    assert signal_of(alone, "fire") is SignalWord.WARNING
    for word in ("responsible adult's recorded leave", "smoke detector", "nothing that burns around it"):
        assert word in said(alone)


def test_an_unattended_router_is_a_danger_and_is_told_never_to_run() -> None:
    first = routed("6061", unattended=True)[0]
    assert first.signal is SignalWord.DANGER
    assert "never run it unattended" in said((first,))
    assert "unattended" not in said(routed("6061"))


def test_a_thin_tool_or_one_that_nobody_named_is_said_to_break() -> None:
    assert "a tool of 2 mm breaks" in said(routed("6061", 2.0))
    assert "a thin tool breaks" in said(routed("6061", None))
    assert "breaks easily" not in said(routed("6061", 6.35))


def test_a_bought_part_warns_of_stored_energy_alone() -> None:
    hazards = cautions(Process.BOUGHT, "", None, None, False)
    assert "batteries" in said(hazards)
    assert "springs" in said(hazards)
    assert len(hazards) == 2


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("PA12-CF", {Substance.POLYAMIDE, Substance.COMPOSITE}),
        ("6061-T6", {Substance.ALUMINIUM}),
        ("PLA", {Substance.OTHER_PLASTIC}),
        ("birch plywood", {Substance.WOOD}),
        ("splay", set()),
        ("", set()),
    ],
)
def test_a_material_is_known_by_whole_words_of_its_name(name: str, expected: set[Substance]) -> None:
    assert set(substances(name)) == expected


def test_cautions_stand_in_the_same_order_in_every_process() -> None:
    # Sets of enum members are ordered by string hashes, which Python seeds anew in each process.
    program = (
        "from register.domain.hazards import cautions\n"
        "from register.domain.parts import Process\n"
        "for name in ('unobtainium', 'PA12 CF PC ABS wood'):\n"
        "    for process in Process:\n"
        "        print(cautions(process, name, None, None, True))\n"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
            timeout=60,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(outputs) == 1

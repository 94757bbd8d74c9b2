"""What can hurt at a job and what is usual against it, in the signal words of ANSI Z535 and sentences of our own.

Notes
-----
The cautions never say that a job is safe: the last of them always defers to the machine's manual, local codes and
licensed practice, and a material that is not known gets every caution that a material of its process may need.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum, StrEnum, auto

from register.domain.materials import Form
from register.domain.parts import Process

THIN_TOOL_MM = 3.2


class SignalWord(StrEnum):
    """How grave a hazard is, gravest first.

    Notes
    -----
    If not avoided, the situation DANGER: will, WARNING: could result in death or serious injury; CAUTION: could result
    in minor or moderate injury; NOTICE: concerns practice, not injury. Source: ANSI Z535.4-2007, 4.14.
    """

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


@dataclass(frozen=True)
class Hazard:
    """One caution: how grave, what can hurt, and what is usual against it; two sentences."""

    signal: SignalWord
    what: str
    against: str


class Substance(Enum):
    """What a material is as far as its hazards go."""

    ALUMINIUM = auto()
    MAGNESIUM = auto()
    OTHER_METAL = auto()
    WOOD = auto()
    COMPOSITE = auto()
    ACETAL = auto()
    VINYL = auto()
    POLYCARBONATE = auto()
    ABS = auto()
    POLYAMIDE = auto()
    OTHER_PLASTIC = auto()


_WORDS: Mapping[Substance, str] = {
    Substance.ALUMINIUM: r"[2567][0-9]{3}[a-z]?|alumini?um|alu|al",
    Substance.MAGNESIUM: r"magnesium|az[0-9]{2}[a-z]?",
    Substance.OTHER_METAL: r"brass|bronze|copper|steel|stainless|titanium|c[0-9]{5}",
    Substance.WOOD: r"plywood|ply|wood|birch|beech|oak|pine|poplar|spruce|maple|ash|mdf|hdf|hardboard|chipboard|bamboo",
    Substance.COMPOSITE: r"carbon|glass|fib(?:re|er)(?:glass)?|cf|gf|cfrp|gfrp|cfk|gfk|g10|g11|fr4|phenolic|aramid",
    Substance.ACETAL: r"acetal|pom|polyoxymethylene",
    Substance.VINYL: r"u?pvc|vinyl|cpvc|polyvinylchloride",
    Substance.POLYCARBONATE: r"pc|polycarbonate",
    Substance.ABS: r"abs|asa|hips|polystyrene|ps|styrene",
    Substance.POLYAMIDE: r"pa[0-9]*|nylon|polyamide",
    Substance.OTHER_PLASTIC: r"pla|petg?|tpu|tpe|acrylic|pmma|hdpe|ldpe|pe|uhmw|pp|polyethylene|polypropylene|pvb",
}
_MATCHES = {substance: re.compile(words) for substance, words in _WORDS.items()}
_METALS = frozenset({Substance.ALUMINIUM, Substance.MAGNESIUM, Substance.OTHER_METAL})

DEFERRING = Hazard(
    SignalWord.NOTICE,
    "These cautions are not complete.",
    "The machine's manual, local codes, the material's safety data sheet and licensed practice come before them.",
)

_ROUTER = (
    Hazard(
        SignalWord.DANGER,
        "The turning cutter cuts through flesh and bone in an instant.",
        "Keep hands out and the guard shut until the spindle has stopped; switch it off before a change of tool.",
    ),
    Hazard(
        SignalWord.WARNING,
        "Hair, sleeves, gloves, cords and jewellery wind up on the spindle.",
        "Tie hair back, take gloves and jewellery off and wear close sleeves.",
    ),
    Hazard(
        SignalWord.WARNING,
        "A sheet or a cut part that comes loose is thrown out.",
        "Hold the sheet down all round, leave tabs on the parts, and keep clamps out of the tool's path.",
    ),
    Hazard(
        SignalWord.WARNING,
        "Chips fly at the eyes.",
        "Everybody in the room wears safety glasses with side shields.",
    ),
    Hazard(
        SignalWord.CAUTION,
        "The noise of spindle and extraction harms hearing over time.",
        "Wear hearing protection while the spindle turns.",
    ),
)
_ROUTER_ALONE = Hazard(
    SignalWord.DANGER,
    "A router with nobody there cuts on through a loose sheet, a broken tool or a fire.",
    "Never run it unattended; someone signed off on it stays within reach of the emergency stop.",
)
_SHEET_EDGES = Hazard(
    SignalWord.CAUTION,
    "Sheets are heavy and their edges and fresh cuts are sharp.",
    "Lift large sheets with two people, wear cut-proof gloves for carrying only, and break the edges.",
)
_WOOD_DUST = Hazard(
    SignalWord.WARNING,
    "Wood dust harms the lungs, and fine dust in the air or a dull tool that burns the wood can start a fire.",
    "Cut with extraction running, wear a dust mask when emptying it, keep tools sharp and sparks away.",
)
_FIBRE_DUST = Hazard(
    SignalWord.WARNING,
    "Dust of carbon, glass or resin harms the lungs and skin, and carbon dust shorts electronics.",
    "Work with fine-dust extraction, wear a respirator, clean up with gloves on, and never blow the dust off.",
)
_PLASTIC_CHIPS = Hazard(
    SignalWord.CAUTION,
    "Plastic that gets hot melts round the tool, smells and grabs the part.",
    "Keep the chips thick and the tool sharp, clear chips away, and ventilate.",
)
_METAL_CHIPS = Hazard(
    SignalWord.CAUTION,
    "Metal chips are hot and sharp as needles.",
    "Move them with a brush or a vacuum cleaner once the spindle stands, never by hand or with compressed air.",
)
_ALUMINIUM_FIRE = Hazard(
    SignalWord.WARNING,
    "Fine aluminium dust burns and explodes, and water makes its fire worse.",
    "Cut chips and not dust, keep it apart from wood dust and sparks, and have dry sand or a class D extinguisher.",
)
_MAGNESIUM_FIRE = Hazard(
    SignalWord.WARNING,
    "Magnesium chips catch fire from a dull tool and cannot be put out with water or CO2.",
    "Do not cut it without a procedure from a specialist and a class D extinguisher beside the machine.",
)
_ACETAL_FUMES = Hazard(
    SignalWord.WARNING,
    "Overheated acetal gives off formaldehyde, which is poisonous, and burns with a flame that is hardly seen.",
    "Cut it cool with a sharp tool and extraction; at a sting in the nose stop, leave and air the room.",
)
_VINYL_FUMES = Hazard(
    SignalWord.WARNING,
    "Hot PVC gives off hydrogen chloride, which burns the lungs and rusts the machine.",
    "Never heat it: stop if it smells or smokes, use extraction to the outside, and keep it apart from acetal.",
)
_POLYCARBONATE_FUMES = Hazard(
    SignalWord.CAUTION,
    "Overheated polycarbonate gives off irritating fumes.",
    "Cut it cool with a sharp tool, and ventilate.",
)
_UNKNOWN_SHEET = Hazard(
    SignalWord.WARNING,
    "What this material gives off as dust or fumes is not known here.",
    "Read its safety data sheet before cutting, and treat dust and fumes as harmful until then.",
)
_PRINTER = (
    Hazard(
        SignalWord.CAUTION,
        "Nozzle and bed are hot enough to burn, also after the print has ended.",
        "Let both cool before reaching in, or wear heat-proof gloves.",
    ),
    Hazard(
        SignalWord.CAUTION,
        "Moving axes, belts and fans pinch and wind up hair and sleeves.",
        "Keep hands, hair and cords out while it moves, and switch it off before work on it.",
    ),
    Hazard(
        SignalWord.CAUTION,
        "Scrapers and the edges of a fresh part cut.",
        "Let the bed cool, push the scraper away from the body, and keep the other hand behind it.",
    ),
)
_POWDER = (
    Hazard(
        SignalWord.WARNING,
        "Fine powder in the air can catch fire or explode at a spark, a flame or a hot surface.",
        "Keep all three away, clean up with a vacuum cleaner made for explosive dust, and never blow powder off.",
    ),
    Hazard(
        SignalWord.WARNING,
        "Fine powder harms the lungs and the eyes.",
        "Fill, unpack and clean with extraction running, a fine-dust mask, tight glasses and gloves.",
    ),
    Hazard(
        SignalWord.WARNING,
        "A load that is opened hot burns the hands, and hot powder can start to smoulder in the air.",
        "Let it cool as long as the machine's manual says before anybody opens it.",
    ),
    Hazard(
        SignalWord.WARNING,
        "The beam inside burns eyes and skin in an instant.",
        "Never defeat a lock of the housing; only who is trained on the machine works behind it.",
    ),
    Hazard(
        SignalWord.CAUTION,
        "Powder on the floor is slippery.",
        "Pick it up at once, and keep whoever does not work there out.",
    ),
)
_PRINT_ALONE = Hazard(
    SignalWord.WARNING,
    "A heater or a cable that fails with nobody there can set the room on fire.",
    "Have a responsible adult's recorded leave, a smoke detector over it and nothing that burns around it.",
)
_MILD_FUMES = Hazard(
    SignalWord.CAUTION,
    "Molten plastic gives off fumes and ultra-fine particles.",
    "Ventilate the room, keep the lid shut, and do not sit beside the printer for hours.",
)
_STRONG_FUMES = Hazard(
    SignalWord.WARNING,
    "This plastic gives off irritating and harmful fumes and many ultra-fine particles when it is molten.",
    "Print it in a closed machine with extraction to the outside or a filter made for it, and stay away from it.",
)
_UNKNOWN_PRINT = Hazard(
    SignalWord.WARNING,
    "What this material gives off when it is molten is not known here.",
    "Read its safety data sheet before printing, and treat the fumes as harmful until then.",
)
_BOUGHT = Hazard(
    SignalWord.CAUTION,
    "Bought parts may come with sharp edges or stored energy: charged batteries, gas struts, loaded springs.",
    "Read the maker's sheet before unpacking, and keep batteries in the place that the shop has for them.",
)

_CUT: Mapping[Substance, tuple[Hazard, ...]] = {
    Substance.ALUMINIUM: (_ALUMINIUM_FIRE,),
    Substance.MAGNESIUM: (_MAGNESIUM_FIRE,),
    Substance.OTHER_METAL: (),
    Substance.WOOD: (_WOOD_DUST,),
    Substance.COMPOSITE: (_FIBRE_DUST,),
    Substance.ACETAL: (_ACETAL_FUMES, _PLASTIC_CHIPS),
    Substance.VINYL: (_VINYL_FUMES, _PLASTIC_CHIPS),
    Substance.POLYCARBONATE: (_POLYCARBONATE_FUMES, _PLASTIC_CHIPS),
}
_PRINTED: Mapping[Substance, tuple[Hazard, ...]] = {
    Substance.ACETAL: (_ACETAL_FUMES,),
    Substance.VINYL: (_VINYL_FUMES,),
    Substance.OTHER_PLASTIC: (_MILD_FUMES,),
    Substance.COMPOSITE: (_FIBRE_DUST,),
    Substance.WOOD: (_MILD_FUMES,),
}


def substances(material_name: str) -> tuple[Substance, ...]:
    """What a material is by the words of its name, in the order of `Substance`; empty where no word is known.

    `PA12-CF` is a polyamide and a composite, `6061-T6` aluminium.
    """
    words = re.findall(r"[a-z0-9]+", material_name.casefold())
    return tuple(substance for substance, known in _MATCHES.items() if any(known.fullmatch(word) for word in words))


def cautions(
    process: Process, material_name: str, form: Form | None, tool_diameter_mm: float | None, unattended: bool
) -> tuple[Hazard, ...]:
    """The cautions for a job, gravest first, and the deferring one last.

    Parameters
    ----------
    process
        How the pieces are made.
    material_name
        As the register has it; one that is not known gets the careful form.
    form
        How the material comes; None if that is not known.
    tool_diameter_mm
        Of the smallest tool of a routed job; None if that is not known.
    unattended
        Whether nobody is there while the machine runs.
    """
    if process is Process.BOUGHT:
        found: Iterable[Hazard] = (_BOUGHT,)
    elif process is Process.ROUTED:
        found = _routed(substances(material_name), form, tool_diameter_mm, unattended)
    else:
        found = _printed(substances(material_name), form, unattended)
    ranks = list(SignalWord)
    return (*sorted(dict.fromkeys(found), key=lambda each: ranks.index(each.signal)), DEFERRING)


def _routed(
    known: tuple[Substance, ...], form: Form | None, tool_diameter_mm: float | None, unattended: bool
) -> Iterable[Hazard]:
    if unattended:
        yield _ROUTER_ALONE
    yield from _ROUTER
    if form is not Form.FILAMENT:
        yield _SHEET_EDGES
    if tool_diameter_mm is None or tool_diameter_mm < THIN_TOOL_MM:
        yield _thin_tool(tool_diameter_mm)
    if not known:
        yield _UNKNOWN_SHEET
        yield from (hazard for each in _CUT.values() for hazard in each)
    for substance in known:
        yield from _CUT.get(substance, (_PLASTIC_CHIPS,))
    if not known or _METALS.intersection(known):
        yield _METAL_CHIPS


def _thin_tool(diameter_mm: float | None) -> Hazard:
    which = "A thin tool" if diameter_mm is None else f"A tool of {diameter_mm:g} mm"
    return Hazard(
        SignalWord.CAUTION,
        f"{which} breaks easily, and its pieces fly.",
        "Check feed and depth before the start, keep the guard shut, and never touch the tool's edge.",
    )


def _printed(known: tuple[Substance, ...], form: Form | None, unattended: bool) -> Iterable[Hazard]:
    if unattended:
        yield _PRINT_ALONE
    if form is not Form.POWDER:
        yield from _PRINTER
    if form is None or form is Form.POWDER:
        yield from _POWDER
    if not known:
        yield _UNKNOWN_PRINT
    for substance in known:
        yield from _PRINTED.get(substance, (_STRONG_FUMES,))
    if set(known) <= {Substance.COMPOSITE}:
        yield _STRONG_FUMES

"""Every command: its help, its place in README.md, and a JSON whose keys carry units and whose times end in Z."""

import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from register.cli.app import app
from tests.cli.command_line import DEMO_PARTS, ROOT, command, entries
from tests.geometry.stl_bytes import binary, box

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMON = ("--register", "--as-of", "--who", "--json", "--help")


def leaves(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, below in getattr(node, "commands", {}).items():
        yield from leaves(below, (*path, name)) if hasattr(below, "commands") else [(*path, name)]


COMMANDS = sorted(leaves(get_command(app)))
NOUNS = sorted({path[0] for path in COMMANDS if len(path) == 2})

# One use of each command, in an order in which each can follow the last. Words in capitals (FILE, PLATE …) stand for
# paths.
USES: dict[tuple[str, ...], tuple[str, ...]] = {
    ("part", "add"): ("RV-1", "Hub", "--wear"),
    ("part", "list"): (),
    ("part", "show"): ("QS-103",),
    ("part", "import"): ("MESHES", "--material", "PLA"),
    ("revision", "add"): ("RV-1", "FILE", "--material", "PLA"),
    ("revision", "release"): ("RV-1", "A"),
    ("revision", "identify"): ("FILE",),
    ("robot", "add"): ("Basalt", "--note", "new"),
    ("robot", "list"): (),
    ("robot", "show"): ("Shale",),
    ("assembly", "add"): ("Basalt", "drive", "--module"),
    ("assembly", "position"): ("Basalt", "hub", "RV-1", "--in", "drive"),
    ("robot", "fitted"): ("Basalt", "hub", "A"),
    ("robot", "require"): ("Basalt", "hub", "A"),
    ("competition", "add"): ("Basin Trials", "2031-05-01 09:00", "--enter", "Basalt=4"),
    ("competition", "list"): (),
    ("stock", "add"): ("PLA-9", "PLA", "1 kg", "--arrives", "2031-03-09 12:00"),
    ("stock", "list"): (),
    ("stock", "use"): ("PLA-2", "12.5 g"),
    ("stock", "count"): ("PLA-2", "900 g", "--because", "weighed"),
    ("job", "add"): ("RV-1", "2", "--weight", "1.5"),
    ("job", "list"): (),
    ("job", "show"): ("A-6",),
    ("plan",): (),
    ("job", "start"): ("A-6",),
    ("job", "scrap"): ("A-1", "1", "--because", "came off the bed"),
    ("job", "made"): ("A-6",),
    ("job", "finish"): ("A-6",),
    ("job", "accept"): ("A-6", "--place", "rack"),
    ("job", "hold"): ("A-5", "--because", "waits"),
    ("job", "requeue"): ("A-5",),
    ("job", "cancel"): ("A-5",),
    ("spare", "add"): ("QS-102", "1", "--revision", "B"),
    ("spare", "list"): (),
    ("spare", "take"): ("QS-102", "--robot", "Shale"),
    ("spare", "count"): ("QS-102", "0", "--revision", "B"),
    ("replacement", "add"): ("Marl", "scoop lip"),
    ("replacement", "list"): (),
    ("shop", "show"): (),
    ("shop", "write"): (),
    ("shop", "read"): ("SHOP",),
    ("machine", "list"): (),
    ("machine", "allow-unattended"): (
        *("Wren", "--by", "Odd Feltspat", "--conditions", "smoke alarm tested", "--longest", "9 h 30 min"),
    ),
    ("machine", "forbid-unattended"): ("Wren",),
    ("estimate",): ("PLATE", "--process", "routed", "--material", "6061 3.175 mm"),
    ("history",): (),
    ("undo",): (),
    ("check",): (),
    ("backup",): (),
    # The demo's clock stands at 16:40 in Oslo; its day's own backup is of 16:00.
    ("restore",): ("20310304T154",),
    ("export",): ("ZIP",),
    ("import",): ("ZIP", "COPY"),
    ("upgrade",): (),
    ("init",): ("NEW",),
    ("demo",): ("DEMO",),
}
LISTS = [path for path in USES if path[-1] == "list" or path == ("history",)]

# What a figure counts, at the end of its key.
UNIT = re.compile(
    r"_(mm|mm2|mm3|g|s|h|d|cents|rpm|deg|days|mm_s|mm_s2|mm3_s|mm_min|m_min|g_cm3|cost_per_kg_cents|share)$"
)
# Pure numbers, counts, and amounts that have their unit in a key beside them.
PURE = {
    *("weight", "chance_target", "expected_use", "chance_of_enough", "amount", "advised"),
    # Depth of a pass in tool diameters, and pairs of tool and chip load, both in mm.
    *("depth_per_pass_d", "chip_loads_mm"),
}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d")


@pytest.fixture(scope="module")
def views(built_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, ...], Any]:
    """The JSON of every command, used once in turn on one copy of the demo."""
    import shutil

    folder = tmp_path_factory.mktemp("every")
    register = Path(shutil.copytree(built_demo, folder / "demo"))
    meshes = folder / "meshes"
    meshes.mkdir()
    (meshes / "RV-9 block.stl").write_bytes(binary(box(10, 11, 12)))
    paths = {
        "MESHES": str(meshes),
        "FILE": str(DEMO_PARTS / "wheel-hub-a.stl"),
        "PLATE": str(DEMO_PARTS / "deck-plate-a.stl"),
        "SHOP": str(DEMO_PARTS / "shop.toml"),
        "NEW": str(folder / "new"),
        "ZIP": str(folder / "season.zip"),
        "COPY": str(folder / "copy"),
        "DEMO": str(register),
    }
    said = {}
    for path, words in USES.items():
        answer = command(*path, *(paths.get(word, word) for word in words), "--json", "--register", str(register))
        assert answer.code == 0, (path, answer)
        said[path] = answer.json
    return said


def test_every_command_is_used_in_these_tests() -> None:
    assert set(USES) == set(COMMANDS)


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_command_has_help_and_the_common_options_and_stands_in_the_readme(path: tuple[str, ...]) -> None:
    said = command(*path, "--help")
    assert (said.code, said.err) == (0, "")
    lines = [line.strip() for line in said.out.splitlines()]
    assert lines[0].startswith(f"Usage: pitwright {' '.join(path)}")
    assert lines[2].rstrip(".?") and lines[2][0].isupper()
    for option in COMMON:
        assert option in said.out
    # The help is for a shop and not for programmers.
    assert not re.search(r"<(str|int|float|bool|list|.*range)>", said.out)
    assert re.search(rf"`pitwright {' '.join(path)}(`| )", README), f"README.md lacks `pitwright {' '.join(path)}`"


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_every_argument_and_option_says_what_it_is(path: tuple[str, ...]) -> None:
    node: Any = get_command(app)
    for name in path:
        node = node.commands[name]
    for parameter in node.params:
        assert getattr(parameter, "help", None), f"{' '.join(path)}: {parameter.name}"


@pytest.mark.parametrize("noun", NOUNS)
def test_noun_without_a_verb_lists_its_verbs(noun: str) -> None:
    said = command(noun)
    assert (said.code, said.out) == (2, "")
    for path in COMMANDS:
        if path[0] == noun:
            assert re.search(rf"^  {path[-1]}  ", said.err, re.MULTILINE)


def test_readme_names_no_command_that_is_not_there() -> None:
    named = re.findall(r"`pitwright ([a-z][a-z-]*)(?: ([a-z][a-z-]*))?", README)
    known = {path[0] for path in COMMANDS} | set(COMMANDS)
    for noun, verb in named:
        assert noun in known or (noun,) in known
        if verb and noun in NOUNS:
            assert (noun, verb) in known


@pytest.mark.parametrize("path", LISTS, ids=" ".join)
def test_json_of_a_list_is_a_list(views: dict[tuple[str, ...], Any], path: tuple[str, ...]) -> None:
    assert isinstance(views[path], list) and views[path]


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_json_carries_units_in_its_keys_and_times_in_utc(
    views: dict[tuple[str, ...], Any], path: tuple[str, ...]
) -> None:
    found = list(entries(views[path]))
    assert found
    for key, value in found:
        if isinstance(value, float):
            assert math.isfinite(value)
            names = key.split(".")
            # A figure inside volumes_mm3 has its unit in the key around it.
            assert any(UNIT.search(f"_{name}") or name in PURE for name in names), f"{key} = {value} has no unit"
        if isinstance(value, str) and TIME.match(value):
            assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", value), f"{key} = {value} is not in UTC"


def test_amount_of_stock_has_its_unit_beside_it(views: dict[tuple[str, ...], Any]) -> None:
    units = {lot["label"]: (lot["amount"], lot["unit"]) for lot in views["stock", "list"]}
    # demo_parts/stock.csv: 780 g on the first spool, two whole sheets.
    assert units["PETG-1"] == (780.0, "g")
    assert units["AL3-1"] == (2.0, "pieces")

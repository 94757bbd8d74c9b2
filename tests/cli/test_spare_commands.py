"""`pitwright spare`, `replacement` and `undo` on the demo shop."""

from pathlib import Path
from typing import Any

from tests.cli.command_line import command, two_sentences

# The keys of the design, word for word.
KEYS = {
    *("part", "robots", "fitted", "usable_now", "usable_after_change", "unusable"),
    *("expected_use", "advised", "chance_of_enough", "signal"),
}


def line(demo: Path, part: str) -> Any:
    lines = {each["part"]: each for each in command("spare", "list", "--json", register=demo).json}
    return lines[part]


def test_list_gives_the_keys_of_the_design_for_every_wear_part(demo: Path) -> None:
    lines = command("spare", "list", "--json", register=demo).json
    # demo_parts/parts.csv marks these as wear parts.
    assert [each["part"] for each in lines] == ["QS-102", "QS-103", "QS-106", "QS-302", "QS-303"]
    for each in lines:
        assert set(each) >= KEYS
        assert each["signal"] in ("OK", "SHORT", "NO SPARE")
        assert all(set(lot) == {"revision", "quantity", "why"} for lot in each["unusable"])


def test_one_wear_part_has_no_spare(demo: Path) -> None:
    lines = command("spare", "list", "--json", register=demo).json
    assert [each["part"] for each in lines if each["signal"] == "NO SPARE"] == ["QS-102"]
    # demo_parts: two robots with two pulleys each, and one unmarked pulley in a drawer.
    pulley = line(demo, "QS-102")
    assert (pulley["fitted"], pulley["usable_now"], pulley["robots"]) == (4, 0, ["Marl", "Shale"])
    assert pulley["unusable"] == [
        {"revision": None, "quantity": 1, "why": "unmarked: nobody can say which revision it is"}
    ]


def test_spares_of_the_wrong_revision_are_not_counted_and_the_reason_is_given(demo: Path) -> None:
    # demo_parts/spares.csv: two lips of A and three of B; B is fitted, and revisions.csv says A does not replace B.
    lip = line(demo, "QS-103")
    assert (lip["usable_now"], lip["usable_after_change"]) == (3, 3)
    (wrong,) = lip["unusable"]
    assert (wrong["revision"], wrong["quantity"]) == ("A", 2)
    assert "A does not work in place of B" in wrong["why"]
    said = " ".join(command("spare", "list", register=demo).out.split())
    assert f"QS-103 Scoop lip 2 of revision A not counted: {wrong['why']}" in said


def test_taking_the_last_one_turns_ok_into_no_spare_and_undo_brings_it_back(demo: Path) -> None:
    before = line(demo, "QS-106")
    assert (before["usable_now"], before["signal"]) == (1, "OK")
    taken = command("spare", "take", "QS-106", "--robot", "Marl", register=demo)
    assert taken.code == 0
    assert "Took one QS-106 revision A from pit box; 0 left there." in taken.out
    assert "NO SPARE  QS-106: 0 usable now, none for Marl and Shale" in taken.out
    assert (line(demo, "QS-106")["usable_now"], line(demo, "QS-106")["signal"]) == (0, "NO SPARE")
    undone = command("undo", register=demo)
    assert undone.code == 0 and "take a spare QS-106 for Marl" in undone.out
    assert line(demo, "QS-106") == before


def test_spare_that_is_not_there_is_refused_with_what_is_there(demo: Path) -> None:
    said = command("spare", "take", "QS-102", register=demo)
    assert said.code == 3 and said.out == "" and two_sentences(said.err)
    assert "1 × unmarked at drawer 4" in said.err
    assert command("spare", "take", "QS-103", "--revision", "A", register=demo).code == 3


def test_added_spares_count_and_a_count_that_differs_needs_its_reason(demo: Path) -> None:
    assert command("spare", "add", "QS-102", "2", "--revision", "B", "--place", "pit box", register=demo).code == 0
    assert line(demo, "QS-102")["usable_now"] == 2
    without = command("spare", "count", "QS-102", "1", "--revision", "B", "--place", "pit box", register=demo)
    assert without.code == 3 and two_sentences(without.err) and "--because" in without.err
    words = ("QS-102", "1", "--revision", "B", "--place", "pit box", "--because", "one was cracked", "--json")
    assert command("spare", "count", *words, register=demo).json["difference"] == -1
    assert line(demo, "QS-102")["usable_now"] == 1


def test_replacement_takes_a_spare_and_fits_it(demo: Path) -> None:
    done = command(
        "replacement", "add", "Marl", "scoop lip", "--cause", "broken", "--note", "hit a stone", "--json", register=demo
    ).json
    assert (done["part"], done["removed"], done["fitted"], done["cause"]) == ("QS-103", "B", "B", "broken")
    assert line(demo, "QS-103")["usable_now"] == 2
    log = command("replacement", "list", "--json", register=demo).json
    assert log[-1] == done
    assert command("undo", register=demo).code == 0
    assert line(demo, "QS-103")["usable_now"] == 3


def test_replacement_of_what_has_no_spare_is_refused_unless_the_piece_came_from_elsewhere(demo: Path) -> None:
    assert command("replacement", "add", "Shale", "winch pulleys", register=demo).code == 3
    done = command("replacement", "add", "Shale", "winch pulleys", "--unmarked", "--json", register=demo).json
    assert (done["removed"], done["fitted"]) == ("B", None)
    shown = command("robot", "show", "Shale", register=demo).out
    # The like pieces of a position are shown together, and an unmarked one by its question mark.
    assert "1 × ?, 1 × B" in shown

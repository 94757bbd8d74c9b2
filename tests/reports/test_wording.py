"""The words and shapes that all reports share."""

import io
from datetime import UTC, date, datetime, time

import pytest
from rich.console import Console, RenderableType
from rich.text import Text

from register.domain.people import Person
from register.domain.shop import HoursException, OpenHours, Shop, ShopSettings
from register.domain.spares import Signal, SpareLine, Unusable
from register.reports.shop import shop_sheet
from register.reports.spares import remarks, spares_in_brief
from register.reports.wording import counted, grid, joined, late, line, local, near, table


def page(report: RenderableType, width: int = 120) -> str:
    console = Console(file=io.StringIO(), width=width)
    with console.capture() as captured:
        console.print(report)
    return captured.get()


def test_times_are_those_of_the_shops_wall_clock() -> None:
    # Oslo is an hour ahead of UTC in winter and two in summer.
    assert local(datetime(2031, 3, 4, 15, 40, tzinfo=UTC), "Europe/Oslo") == "Tue 2031-03-04 16:40"
    assert local(datetime(2031, 7, 4, 23, 30, tzinfo=UTC), "Europe/Oslo") == "Sat 2031-07-05 01:30"
    assert near(datetime(2031, 3, 4, 15, 40, tzinfo=UTC), "Europe/Oslo") == "Tue 4 Mar 16:40"
    assert local(None, "UTC") == near(None, "UTC") == "–"


def test_day_is_left_out_on_the_day_itself_as_the_shop_counts_days() -> None:
    now = datetime(2031, 3, 4, 22, 30, tzinfo=UTC)
    # 22:45 UTC is 23:45 in Oslo, the same day; 23:05 UTC is already the next.
    assert near(datetime(2031, 3, 4, 22, 45, tzinfo=UTC), "Europe/Oslo", now) == "23:45"
    assert near(datetime(2031, 3, 4, 23, 5, tzinfo=UTC), "Europe/Oslo", now) == "Wed 5 Mar 00:05"


def test_words_for_counts_lists_and_delays() -> None:
    assert (counted(1, "job"), counted(2, "job"), counted(0, "body", "bodies")) == ("1 job", "2 jobs", "0 bodies")
    assert (joined([]), joined(["A"]), joined(["A", "B"]), joined(["A", "B", "C"])) == (
        "",
        "A",
        "A and B",
        "A, B and C",
    )
    # 100,800 s are 28 h.
    assert late(100_800).plain == "LATE 1 d 4 h" and late(0).plain == late(-5).plain == "on time"


@pytest.mark.parametrize("text", ["\x1b[31mred", "\x9b2J", "a\u202eb", "bell\x07"])
def test_hidden_signs_are_written_out_wherever_a_text_is_shown(text: str) -> None:
    for report in (line(text), table(("x",), [(text,)]), grid([(text,)])):
        said = page(report)
        assert text not in said and "\\x" in said


def test_markup_in_a_cell_is_shown_as_it_is_and_an_empty_one_as_a_dash() -> None:
    said = page(table(("name", "note"), [("P[rev B]", None), ("[/x]", Text("bold", style="bold"))]))
    assert "P[rev B]" in said and "[/x]" in said and "–" in said


def test_table_of_eighty_columns_breaks_between_words_and_loses_none() -> None:
    rows = [
        ("QS-102", "Cable pulley of the winch", "1", "none for Marl and Shale, and the last was taken on Tuesday")
    ] * 3
    said = page(table(("part", "name", "usable now", "what is to be said"), rows, ("usable now",)), 80)
    assert max(map(len, said.splitlines())) <= 80
    for word in ("Cable", "pulley", "winch", "Shale,", "Tuesday", "usable"):
        assert said.split().count(word) >= 1


def test_hours_of_like_days_are_joined() -> None:
    hours = [OpenHours(day, time(16), time(20, 30)) for day in (0, 1, 2, 4)]
    hours += [OpenHours(5, time(10), time(12)), OpenHours(5, time(13), time(17))]
    days_off = (HoursException(date(2031, 3, 12)), HoursException(date(2031, 3, 16), time(16), time(20)))
    people = (Person("Ragna", True), Person("Tuva"))
    said = page(shop_sheet(ShopSettings(Shop("Shed", hours=tuple(hours), exceptions=days_off), people=people)))
    assert "Attended hours: Mon–Wed 16:00–20:30, Fri 16:00–20:30, Sat 10:00–12:00 and 13:00–17:00" in said
    assert "Other hours: Wed 2031-03-12 closed, Sun 2031-03-16 16:00–20:00" in said
    assert "People: Ragna (responsible adult), Tuva" in said


def wear_line(part: str, signal: Signal = Signal.OK, *unusable: Unusable, without: tuple[str, ...] = ()) -> SpareLine:
    return SpareLine(part, "Lip", ("Marl",), 1, 3, 3, unusable, without, None, None, None, signal)


def test_remarks_say_what_is_not_counted_and_who_has_none() -> None:
    found = wear_line(
        "RV-1",
        Signal.NO_SPARE,
        Unusable("A", 2, "A does not work in place of B, which is fitted"),
        Unusable(None, 1, "unmarked: nobody can say which revision it is"),
        without=("Marl", "Shale", "Basalt"),
    )
    assert remarks(found) == (
        "none for Marl, Shale and Basalt; 2 of revision A not counted: A does not work in place of B, which is fitted; "
        "1 unmarked not counted: nobody can say which revision it is"
    )
    assert remarks(wear_line("RV-2")) == ""


def test_brief_list_counts_the_parts_of_which_nothing_is_to_be_said() -> None:
    fine = [wear_line(f"RV-{number}") for number in range(2, 12)]
    said = page(spares_in_brief([*fine, wear_line("RV-1", Signal.SHORT)]))
    assert said.index("SHORT  RV-1") < said.index("OK  10 other wear parts: RV-2, RV-3")
    assert "RV-9, …" in said and "RV-10" not in said
    assert "OK  1 wear part: RV-2" in page(spares_in_brief(fine[:1]))
    assert "No wear part is there yet." in page(spares_in_brief([]))

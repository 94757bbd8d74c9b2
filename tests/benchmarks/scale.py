"""A register of many seasons: what a page, a search, where-used, the spares warning and `check` cost in it.

python tests/benchmarks/scale.py [--parts 100000] [--ledger 1000000] [--folder DIR] [--json]

CPU of this process, which looks for garbage as seldom as a command does; of `check`, which works in two threads, the
time a person waits. Each reading is measured on an open view, and
beside it the same question put by hand with sqlite3 in the same run, rows as they come. `first` is the first call, as a
command has it, then the least and the median of the others; the least is held against the limit, since whatever else
the computer does only adds to it.
"""

import argparse
import gc
import json
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions import parts as part_actions
from register.actions.checking import check_register
from register.actions.spares import list_spares
from register.cli.__main__ import MADE_BEFORE_LOOKING
from register.domain.part_views import Page
from register.opening import Register, open_register
from register.store import parts, position_lists, wear
from register.store.header import DATABASE
from register.store.transaction import Reading
from tests.benchmarks.large_register import NOW, Sizes, large_register, number_at

PAGE = 50
# The part that sits in ten positions of every robot.
EVERYWHERE = number_at(0)
_PAGE = f"SELECT number, name, wear, version FROM part WHERE number_folded > ? ORDER BY number_folded LIMIT {PAGE}"
_FIND = "SELECT number, name, wear, version FROM part WHERE number_folded LIKE ? OR name LIKE ? ORDER BY 1 LIMIT 50"
_WHERE_USED = """
WITH RECURSIVE around(place, assembly) AS (
    SELECT position.key, assembly_key FROM position JOIN part ON part.key = part_key WHERE number_folded = ?
    UNION ALL
    SELECT place, parent_key FROM around JOIN assembly ON assembly.key = assembly WHERE parent_key IS NOT NULL
)
SELECT robot.name, position.name, assembly.name FROM around JOIN position ON position.key = place
JOIN robot ON robot.key = position.robot_key JOIN assembly ON assembly.key = assembly
"""
_OF_WEAR = "SELECT * FROM {} WHERE part_key IN (SELECT key FROM part WHERE wear = 1)"
_WEAR = (
    "SELECT * FROM part WHERE wear = 1",
    _OF_WEAR.format("revision"),
    _OF_WEAR.format("position"),
    f"SELECT fitted.* FROM fitted WHERE position_key IN ({_OF_WEAR.format('position').replace('*', 'key')})",
    f"{_OF_WEAR.format('piece_move').replace('*', 'part_key, revision_key, place, sum(quantity)')} GROUP BY 1, 2, 3",
    f"{_OF_WEAR.format('replacement').replace('*', 'part_key, count(*)')} GROUP BY 1",
)


@dataclass(frozen=True)
class Cost:
    """CPU of one question in milliseconds; `ratio` is of the least to the least by hand, None without one."""

    what: str
    answers: int
    first_ms: float
    least_ms: float
    median_ms: float
    limit_ms: float | None
    by_hand_ms: float | None = None
    ratio: float | None = None

    @property
    def over(self) -> bool:
        """Whether it is over its limit."""
        return self.limit_ms is not None and self.least_ms > self.limit_ms


def costs(register: Register, repeats: int) -> Iterator[Cost]:
    """Measure everything."""
    middle = sorted(number_at(place) for place in range(1_000))[500]
    rare, frequent = number_at(77).removeprefix("P-"), "bracket"
    with closing(sqlite3.connect(register.folder / DATABASE)) as plain, register.store.reading() as view:

        def cost(
            what: str, limit_ms: float, ask: Callable[[Reading], Any], *by_hand: str, given: tuple[Any, ...] = ()
        ) -> Cost:
            def put() -> None:
                for statement in by_hand:
                    plain.execute(statement, given).fetchall()

            return _cost(what, limit_ms, lambda: ask(view), repeats, put)

        page = (
            f"SELECT number, name, wear, version FROM part WHERE number_folded > ? ORDER BY number_folded LIMIT {PAGE}"
        )
        yield cost("page", 1, lambda view: parts.page(view, middle, PAGE), page, given=(middle.casefold(),))
        for what, find in (("find, rare", rare), ("find, frequent", frequent), ("find, nothing", "zzz")):
            like = (f"%{find}%",) * 2
            yield cost(what, 10, lambda view, find=find: parts.page(view, "", PAGE, find), _FIND, given=like)
        used = (EVERYWHERE.casefold(),)
        yield cost("where-used", 5, lambda view: position_lists.where_used(view, EVERYWHERE), _WHERE_USED, given=used)
        yield cost("spares warning", 100, lambda view: wear.wear_cases(view, NOW), *_WEAR)
    yield _cost(
        "action: one page of lines", None, lambda: part_actions.list_parts(register, page=Page(PAGE, middle)), 9
    )
    yield _cost("action: one part whole", None, lambda: [part_actions.show_part(register, EVERYWHERE)], 9)
    yield _cost("action: list spares", None, lambda: list_spares(register), 5)
    yield _cost("action: every part", None, lambda: part_actions.list_parts(register), 1)
    yield _cost("open", None, lambda: [open_register(register.folder, register.who, register.clock)], 1)
    yield _cost("check", 10_000, lambda: [check_register(register)], 1, clock=time.perf_counter)


def _cost(
    what: str,
    limit_ms: float | None,
    ask: Callable[[], Any],
    repeats: int,
    by_hand: Callable[[], None] | None = None,
    clock: Callable[[], float] = time.process_time,
) -> Cost:
    first_ms, answer = _timed_ms(ask, clock)
    again = [_timed_ms(ask, clock)[0] for _ in range(repeats - 1)] or [first_ms]
    least_ms, median_ms = min(again), statistics.median(again)
    if by_hand is None:
        return Cost(what, len(answer), first_ms, least_ms, median_ms, limit_ms)
    by_hand_ms = min(_timed_ms(by_hand)[0] for _ in range(repeats))
    return Cost(what, len(answer), first_ms, least_ms, median_ms, limit_ms, by_hand_ms, least_ms / by_hand_ms)


def _timed_ms(call: Callable[[], Any], clock: Callable[[], float] = time.process_time) -> tuple[float, Any]:
    began = clock()
    answer = call()
    return (clock() - began) * 1000, answer


def main() -> None:
    """Make the register, measure, print; exit 1 if anything is over its limit."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--parts", type=int, default=Sizes.parts, help="each with three revisions")
    parser.add_argument("--wear", type=int, default=Sizes.wear, help="of them, parts that wear")
    parser.add_argument("--ledger", type=int, default=Sizes.ledger, help="moves of pieces and stock, and replacements")
    parser.add_argument("--wear-moves", type=float, default=Sizes.wear_moves, help="share of moves, of wear parts")
    parser.add_argument("--files", type=int, default=Sizes.files, help="in the file room")
    parser.add_argument("--folder", type=Path, help="kept, and used again as it is; a temporary one if left out")
    parser.add_argument("--repeats", type=int, default=21, help="of each reading")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    gc.set_threshold(*MADE_BEFORE_LOOKING)
    sizes = Sizes(said.parts, said.wear, said.ledger, files=said.files, wear_moves=said.wear_moves)
    with tempfile.TemporaryDirectory() as passing:
        began = time.perf_counter()
        register = large_register(said.folder or Path(passing) / "register", sizes)
        made_s = time.perf_counter() - began
        found = list(costs(register, said.repeats))
        register.store.close()
        megabytes = (register.folder / DATABASE).stat().st_size / 1e6
    if said.json:
        view = {"sizes": asdict(sizes), "database_mb": megabytes, "made_s": made_s, "costs": [asdict(c) for c in found]}
        print(json.dumps(view))
    else:
        print(f"{sizes}, {megabytes:.0f} MB, made or opened in {made_s:.0f} s")
        for each in found:
            limit = "" if each.limit_ms is None else f"limit {each.limit_ms:g}{', OVER' if each.over else ''}"
            by_hand = "" if each.ratio is None else f"by hand {each.by_hand_ms:8.2f}, ratio {each.ratio:5.1f}"
            told = f"first {each.first_ms:8.2f}, least {each.least_ms:8.2f}, median {each.median_ms:8.2f} ms"
            print(f"{each.what:26} {each.answers:7} answers  {told}  {by_hand:33} {limit}")
    sys.exit(any(each.over for each in found))


if __name__ == "__main__":
    main()

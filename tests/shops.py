"""A real register in a folder of a test, built by the actions that a person's commands call."""

import atexit
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from register.actions import jobs, parts, revisions, robots, shop, spares, stock
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.revisions import Interchange, Revision
from register.domain.spares import SpareLine
from register.domain.stock import Lot, StockForm
from register.opening import Register, make_register, open_register
from tests.geometry.stl_bytes import binary, box

DEMO = Path(__file__).parents[1] / "demo_parts"
SHOP_TOML = (DEMO / "shop.toml").read_bytes()
# The demo's shop with a powder printer. Its figures are round, so that a load is counted by hand.
POWDER_TOML = (
    SHOP_TOML
    + b"""
[[material]]
name = "nylon powder"
form = "powder"
density_g_cm3 = 1.0
source = "round figure"
cost_per_kg_cents = 50000

[[machine]]
name = "Starling"
process = "printed"
size_mm = [200, 200, 300]
cost_per_h_cents = 3000
materials = ["nylon powder"]
[machine.powder]
layer_height_mm = 0.1
recoat_s = 9
scan_mm2_s = 500
contour_speed_mm_s = 400
warm_up_s = 5400
cool_down_s = 27000
packing_share = 0.1
recycled_share = 0.6
loose_share = 0.5
"""
)
# A Tuesday at noon, UTC; the demo shop opens at 16:00 in Oslo, which is 15:00 UTC in March.
NOON = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
ADULT, STUDENT = "Ragna Kvarts", "Tuva Skifer"
PART, ROBOT, POSITION = "CL-1", "Basalt", "claws"
# One cube's estimate takes a few milliseconds.
CLAW_A, CLAW_B, CLAW_C = (binary(box(side, side, 6.0)) for side in (10.0, 11.0, 12.0))


@dataclass
class SetClock:
    """A clock that a test sets."""

    now: datetime = NOON

    def __call__(self) -> datetime:
        return self.now

    def after(self, **span: float) -> None:
        self.now += timedelta(**span)


def bare_register(folder: Path, clock: Callable[[], datetime] | None = None) -> Register:
    """A register without anything in it."""
    return make_register(folder, STUDENT, clock or SetClock())


def set_up_register(folder: Path, clock: Callable[[], datetime] | None = None, toml: bytes = SHOP_TOML) -> Register:
    """A register that knows the demo's shop, or the one that `toml` says."""
    register = bare_register(folder, clock)
    shop.set_up_shop(register, toml, "shop.toml")
    return register


def printed(part: str = PART, file_name: str = "claw.stl", **said: object) -> RevisionRequest:
    """What a person says of a printed revision."""
    plain: dict[str, object] = {"material": "PLA", "changed": "as drawn", "interchange": Interchange.BOTH_WAYS}
    return RevisionRequest(part, Process.PRINTED, file_name, **(plain | said))  # type: ignore[arg-type]


def logged(register: Register, request: RevisionRequest, content: bytes | None) -> Revision:
    return revisions.log_revision(register, revisions.prepare_revision(register, request, content), content)


def released(register: Register, request: RevisionRequest, content: bytes | None) -> Revision:
    revision = logged(register, request, content)
    return revisions.release_revision(register, revision.part, revision.letter)


def wear_register(folder: Path, clock: Callable[[], datetime] | None = None, on_hand: int = 1) -> Register:
    """One robot that carries two claws of revision A, and spare claws on the shelf.

    Built once in each test run and copied, as a person copies a folder that nobody has open.
    """
    shutil.copytree(_built_wear_register(on_hand), folder)
    return open_register(folder, STUDENT, clock or SetClock())


@cache
def _built_wear_register(on_hand: int) -> Path:
    passing = Path(tempfile.mkdtemp(prefix="wear-register-"))
    atexit.register(shutil.rmtree, passing, ignore_errors=True)
    register = set_up_register(passing / "register")
    parts.add_part(register, PART, "Claw", True)
    released(register, printed(), CLAW_A)
    robots.add_robot(register, ROBOT)
    robots.add_position(register, ROBOT, None, POSITION, PART, 2, "A")
    robots.record_fitted(register, ROBOT, POSITION, ("A", "A"))
    if on_hand:
        spares.add_spares(register, PART, "A", on_hand, "shelf")
    register.store.close()
    return register.folder


def claws(register: Register) -> SpareLine:
    """How the claws stand."""
    return next(line for line in spares.list_spares(register) if line.part == PART)


def add_spool(register: Register, label: str, grams: float, **more: object) -> Lot:
    return stock.add_lot(register, Lot(label, "PLA", StockForm.SPOOL, grams, **more))  # type: ignore[arg-type]


def add_sheet(register: Register, label: str, amount: float, size_mm: tuple[float, float], **more: object) -> Lot:
    """Sheet (or offcut, by `form`) of 6061, 3.175 mm thick."""
    plain: dict[str, object] = {"form": StockForm.SHEET, "thickness_mm": 3.175} | more
    form = StockForm(str(plain.pop("form")))
    return stock.add_lot(
        register,
        Lot(label, "6061", form, amount, width_mm=size_mm[0], length_mm=size_mm[1], **plain),  # type: ignore[arg-type]
    )


def running_job(register: Register, quantity: int = 1, machine: str | None = None) -> str:
    """A job of claws that is on its machine; gives back its number."""
    number = jobs.add_job(register, PART, None, quantity).number
    return jobs.start_job(register, number, machine).number


def again(register: Register) -> Register:
    """The same folder opened anew."""
    return open_register(register.folder, register.who, register.clock)


def dumped(register: Register) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table that is not history, as SQLite holds it."""
    with sqlite3.connect(register.folder / "register.db") as connection:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        kept = {
            name: sorted(connection.execute(f'SELECT * FROM "{name}"'), key=repr)
            for name in names
            if name not in {"operation", "change", "open_operation"}
        }
    connection.close()
    return kept


def row_counts(register: Register) -> dict[str, int]:
    """Rows of every table, the history's too."""
    with sqlite3.connect(register.folder / "register.db") as connection:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        counts = {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}
    connection.close()
    return counts


def files_in(register: Register) -> set[str]:
    """Names of all files of the file room, passing ones too."""
    return {path.name for path in register.files.folder.rglob("*") if path.is_file()}

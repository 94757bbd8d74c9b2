"""Building the demo shop from its tables, by the same actions that a person's commands call."""

import csv
import glob
import io
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from register.actions import competitions, jobs, parts, revisions, robots, shop, spares, stock
from register.cli.demo_files import demo_folder
from register.domain.clock import fixed_at
from register.domain.competitions import Entry
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.pieces import Cause, Replacement
from register.domain.revisions import Interchange, Stage
from register.domain.stock import Lot, StockForm
from register.errors import NotAllowed, StoreBroken
from register.opening import Register, at_time, holds_register, make_register, open_register
from register.units.moments import moment

# A Tuesday afternoon in the shop, two and a half weeks before its event.
MOMENT = datetime(2031, 3, 4, 15, 40, tzinfo=UTC)
BUILDER = "demo"
# A build takes seconds.
_ABANDONED_S = 600


def open_demo(folder: Path, who: str) -> Register:
    """The demo shop in `folder`: as it was left, or built afresh if there is none.

    Raises
    ------
    NotAllowed
        If the folder holds something else.
    StoreBroken
        If it cannot be written.
    """
    folder = Path(os.path.abspath(folder))  # noqa: PTH100  # a link stays the link that was named
    if not holds_register(folder):
        _build_whole(folder)
    return open_register(folder, who)


def _build_whole(folder: Path) -> None:
    """Build beside the place and move there when it is whole, so that a stopped build leaves nothing half."""
    unfinished = folder.parent / f".{folder.name}-{secrets.token_hex(4)}"
    try:
        if folder.exists() and not folder.is_dir():
            raise NotAllowed(f"{folder} is not a folder.", "Name a new or an empty folder.")
        if folder.exists() and any(folder.iterdir()):
            raise NotAllowed(f"{folder} holds something else than a register.", "Name a new or an empty folder.")
        _clear_abandoned(folder)
        unfinished.mkdir(parents=True)
        _build(unfinished)
        _settle(unfinished, folder)
    except OSError as error:
        raise StoreBroken(f"{folder} cannot be written: {error.strerror}.", "Name another folder.") from error
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


def _settle(unfinished: Path, folder: Path) -> None:
    if holds_register(folder):
        return  # somebody else was first
    if folder == Path.cwd():
        # The folder that a person stands in stays; the database, which makes it a register, goes last.
        for each in sorted(unfinished.iterdir(), key=lambda each: (each.is_file(), -len(each.name))):
            os.replace(each, folder / each.name)  # noqa: PTH105
        return
    if folder.exists():
        folder.rmdir()
    os.replace(unfinished, folder)  # noqa: PTH105  # atomic on every platform


def _clear_abandoned(folder: Path) -> None:
    """Remove what a build left that was killed outright; one that may still be at work is younger."""
    for left in folder.parent.glob(f".{glob.escape(folder.name)}-{'[0-9a-f]' * 8}"):
        if time.time() - left.stat().st_mtime > _ABANDONED_S:
            shutil.rmtree(left, ignore_errors=True)


def _build(folder: Path) -> None:
    source = demo_folder()
    made = make_register(folder, BUILDER, fixed_at(MOMENT - timedelta(days=2)), runs_from=MOMENT)
    settings = shop.set_up_shop(made, (source / "shop.toml").read_bytes(), "shop.toml")
    tables = _Tables(source, settings.shop.zone)
    tables.leave(made)
    tables.parts(made)
    tables.robots(made)
    tables.stock(made)
    tables.events(made)
    tables.jobs(at_time(made, fixed_at(MOMENT - timedelta(minutes=40))))
    made.store.close()


class _Tables:
    """The tables of the demo, each row one action."""

    def __init__(self, source: Path, zone: str) -> None:
        self._source = source
        self._zone = zone

    def _rows(self, name: str) -> Iterator[dict[str, str]]:
        text = (self._source / f"{name}.csv").read_text(encoding="utf-8")
        return csv.DictReader(io.StringIO(text), strict=True)

    def _moment(self, text: str) -> datetime:
        return moment(text.replace("T", " "), self._zone)

    def leave(self, register: Register) -> None:
        """The leave to run unattended, given on its own day."""
        for row in self._rows("permissions"):
            given = at_time(register, fixed_at(self._moment(row["given_at"])))
            shop.give_leave(given, row["machine"], row["given_by"], row["conditions"], float(row["longest_h"]))

    def parts(self, register: Register) -> None:
        """Parts, their revisions and files."""
        for row in self._rows("parts"):
            parts.add_part(register, row["number"], row["name"], row["wear"] == "yes")
        for row in self._rows("revisions"):
            content = (self._source / row["file"]).read_bytes() if row["file"] else None
            prepared = revisions.prepare_revision(register, _request(row), content)
            revision = revisions.log_revision(register, prepared, content)
            if row["state"] == "released":
                revisions.release_revision(register, revision.part, revision.letter)

    def robots(self, register: Register) -> None:
        """Robots, what each is meant to carry, and what is fitted."""
        for row in self._rows("robots"):
            robots.add_robot(register, row["robot"], row["note"])
        for row in self._rows("assemblies"):
            robots.add_assembly(register, row["robot"], row["assembly"], row["parent"] or None, row["module"] == "yes")
        for row in self._rows("positions"):
            robots.add_position(
                register,
                row["robot"],
                row["assembly"] or None,
                row["position"],
                row["part"],
                int(row["quantity"]),
                row["required"],
            )
            told = {"?": "", "-": None}
            fitted = tuple(told.get(letter, letter) for letter in row["fitted"].split(";"))
            robots.record_fitted(register, row["robot"], row["position"], fitted)

    def stock(self, register: Register) -> None:
        """Spools, sheets, offcuts, and the pieces on hand."""
        for row in self._rows("stock"):
            stock.add_lot(
                register,
                Lot(
                    row["label"],
                    row["material"],
                    StockForm(row["form"]),
                    float(row["amount"]),
                    _figure(row["thickness_mm"]),
                    _figure(row["width_mm"]),
                    _figure(row["length_mm"]),
                    self._moment(row["arrives"]) if row["arrives"] else None,
                    row["note"],
                ),
            )
        for row in self._rows("spares"):
            letter = None if row["revision"] == "?" else row["revision"]
            spares.add_spares(register, row["part"], letter, int(row["quantity"]), row["place"])

    def events(self, register: Register) -> None:
        """Competitions, and the replacements of those that are past."""
        entries: dict[str, list[Entry]] = {}
        for row in self._rows("entries"):
            entries.setdefault(row["competition"], []).append(Entry(row["robot"], int(row["matches"])))
        for row in self._rows("competitions"):
            name = row["competition"]
            due = self._moment(row["parts_due"])
            competitions.add_competition(register, name, self._moment(row["starts"]), due, tuple(entries[name]))
        for row in self._rows("replacements"):
            past = Replacement(
                row["part"],
                row["robot"],
                row["position"],
                1,
                row["revision_out"] or None,
                row["revision_in"] or None,
                Cause(row["cause"]),
                BUILDER,
                self._moment(row["at"]),
            )
            spares.record_past_replacement(register, past)

    def jobs(self, register: Register) -> None:
        """The queue."""
        for row in self._rows("jobs"):
            job = jobs.add_job(
                register,
                row["part"],
                row["revision"],
                int(row["quantity"]),
                self._moment(row["due"]),
                float(row["weight"]),
                row["machine"] or None,
                row["note"],
            )
            if row["state"] == "running":
                jobs.start_job(register, job.number)
            elif row["state"] == "on hold":
                jobs.hold_job(register, job.number, row["note"] or "waiting")


def _request(row: dict[str, str]) -> RevisionRequest:
    return RevisionRequest(
        row["part"],
        Process(row["process"]),
        row["file"] or None,
        row["material"] or None,
        _figure(row["thickness_mm"]),
        None,
        row["unit"] or None,
        int(row["unit_cost_cents"]) if row["unit_cost_cents"] else None,
        int(row["lead_days"]) if row["lead_days"] else None,
        Stage(row["stage"]),
        Interchange(row["interchange"]),
        row["interchange_why"],
        row["changed"],
    )


def _figure(text: str) -> float | None:
    return float(text) if text else None

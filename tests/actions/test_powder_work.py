"""Powder in a register: its lots in grams, its jobs on the powder printer alone, its loads in the plan."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import jobs, parts, planning, shop, stock
from register.actions.checking import check_register
from register.actions.exchange import export_table, import_table
from register.domain.estimates import PrintedEstimate
from register.domain.hazards import SignalWord
from register.domain.stock import Lot, StockForm
from register.domain.table_columns import Subject, TableForm
from register.errors import BadFile, NotAllowed, UnknownMaterial
from register.opening import Register, open_register
from tests.geometry.stl_bytes import binary, cube
from tests.shops import ADULT, PART, POWDER_TOML, SetClock, add_spool, again, printed, released, set_up_register

POWDER = "nylon powder"
# Counted by hand in tests/estimate/test_powder.py: 150 cubes of 20 mm are a load of 89,400 s, one alone takes
# 34,400 s, and each takes 17.6 g of fresh powder.
CUBE = binary(cube(20.0))


@pytest.fixture
def register(tmp_path: Path) -> Register:
    register = set_up_register(tmp_path / "register", toml=POWDER_TOML)
    parts.add_part(register, PART, "Claw", True)
    released(register, printed(material=POWDER), CUBE)
    return register


def kept(register: Register) -> PrintedEstimate:
    (made,) = parts.show_part(register, PART).estimates.values()
    assert isinstance(made, PrintedEstimate)
    return made


def test_estimate_of_powder_and_the_printers_settings_come_back_as_they_were_kept(register: Register) -> None:
    made = kept(again(register))
    assert made.powder is not None
    assert (made.machine, made.powder.pieces) == ("Starling", 150)
    assert made.powder.fresh_g == pytest.approx(17.6, rel=1e-6)
    (machine,) = (each for each in shop.shop_settings(again(register)).machines if each.powder is not None)
    assert machine.powder is not None
    assert (machine.name, machine.powder.recycled_share, machine.powder.loose_share) == ("Starling", 0.6, 0.5)
    assert "[machine.powder]" in shop.shop_as_written(register)


def test_lot_that_is_weighed_takes_the_form_of_its_material(register: Register) -> None:
    assert stock.add_lot(register, Lot("N-1", POWDER.upper(), StockForm.SPOOL, 900.0)).form is StockForm.POWDER
    assert add_spool(register, "P-1", 900.0).form is StockForm.SPOOL
    assert stock.use_stock(register, "N-1", 100.5).amount == 799.5
    with pytest.raises(UnknownMaterial):
        stock.add_lot(register, Lot("P-2", "PLA", StockForm.POWDER, 900.0))
    check_register(register)


def test_lots_of_powder_go_out_and_come_in_with_the_table_of_the_stock(register: Register) -> None:
    stock.add_lot(register, Lot("N-1", POWDER, StockForm.SPOOL, 900.0))
    told = export_table(register, Subject.STOCK, TableForm.CSV).decode("utf-8-sig")
    assert told.splitlines()[1].startswith(f"N-1,{POWDER},powder,900,g,")
    more = told + f"N-2,{POWDER},powder,25,g,,,,,\n"
    assert import_table(register, Subject.STOCK, more.encode(), TableForm.CSV).added == 1
    assert {(lot.label, lot.form, lot.amount) for lot in stock.list_stock(register)} == {
        ("N-1", StockForm.POWDER, 900.0),
        ("N-2", StockForm.POWDER, 25.0),
    }
    with pytest.raises(BadFile, match="a powder is counted in g"):
        import_table(register, Subject.STOCK, more.replace(",25,g,", ",25,pieces,").encode(), TableForm.CSV)


def test_job_of_powder_runs_on_the_powder_printer_and_takes_fresh_powder(register: Register) -> None:
    stock.add_lot(register, Lot("N-1", POWDER, StockForm.SPOOL, 500.0))
    add_spool(register, "P-1", 900.0)
    with pytest.raises(NotAllowed, match="Lark does not take nylon powder"):
        jobs.add_job(register, PART, None, 1, machine="Lark")
    number = jobs.add_job(register, PART, None, 10).number
    sheet = jobs.show_job(register, number)
    assert sheet.spools is not None
    assert [(use.lot, use.takes_g) for use in sheet.spools.uses] == [("N-1", pytest.approx(176.0, rel=1e-6))]
    said = " ".join(f"{each.what} {each.against}" for each in sheet.cautions)
    assert "Fine powder in the air" in said and "Nozzle" not in said
    assert sheet.cautions[-1].signal is SignalWord.NOTICE and "machine's manual" in sheet.cautions[-1].against
    assert jobs.start_job(register, number).machine == "Starling"
    _, booked = jobs.made_job(register, number)
    assert booked is not None
    assert (booked.lot, booked.unit) == ("N-1", "g")
    assert (booked.amount, booked.left) == (pytest.approx(176.0, rel=1e-6), pytest.approx(324.0, rel=1e-6))
    check_register(register)


def test_plan_fills_loads_of_powder_and_gives_each_its_warming_and_cooling(register: Register, tmp_path: Path) -> None:
    stock.add_lot(register, Lot("N-1", POWDER, StockForm.SPOOL, 5000.0))
    adult = open_register(register.folder, ADULT, SetClock())
    shop.give_leave(adult, "Starling", ADULT, "detector over it", 48.0)
    jobs.add_job(register, PART, None, 160)
    (planned,) = planning.plan_jobs(register).jobs
    assert planned.machine == "Starling"
    # 150 pieces, and 10: the second takes 34,400 s and 9/149 of the 55,000 s by which a full load takes longer.
    times = [load.end - load.run for load in planned.loads]
    wanted = [89_400.0, 34_400 + 9 / 149 * 55_000]
    assert [time / timedelta(seconds=1) for time in times] == [pytest.approx(each, abs=1.0) for each in wanted]


def test_plan_says_that_a_load_was_counted_for_another_machine(register: Register) -> None:
    settings = shop.shop_settings(register)
    (own,) = (each for each in settings.machines if each.powder is not None)
    renamed = POWDER_TOML.replace(b'"Starling"', b'"Plover"')
    jobs.add_job(register, PART, None, 1)
    shop.set_up_shop(register, renamed, "shop.toml")
    (unplaced,) = planning.plan_jobs(register).unplaced
    assert "Its loads were counted for Starling" in unplaced.why
    assert replace(own, name="Plover") in shop.shop_settings(register).machines

"""`pitwright demo`: builds its shop, says how it stands, and never leaves half of it."""

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

from register.cli import demo_shop
from tests.cli.command_line import PROGRAM, ROOT, command, environment, program, two_sentences

# The demo's moment: Tuesday 4 March 2031, 16:40 in Oslo.
MOMENT = "2031-03-04T15:40:00Z"
POSIX = pytest.mark.skipif(os.name != "posix", reason="the signals are those of POSIX")


@pytest.fixture
def quick_build(built_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The build, by a copy of one that was built: these tests are about where it goes."""
    monkeypatch.setattr(
        demo_shop, "_build", lambda unfinished: shutil.copytree(built_demo, unfinished, dirs_exist_ok=True)
    )


def section(page: str, heading: str) -> str:
    """What stands below a heading, to the next empty line."""
    below = page.split(f"\n{heading}", 1)[1].split("\n", 1)[1]
    return below.split("\n\n", 1)[0]


def test_demo_builds_and_reports_within_fifteen_seconds_without_a_terminal_whatever_the_locale() -> None:
    env = environment(PYTHONIOENCODING="ascii", LANG="C", LC_ALL="C", COLUMNS="abc")
    began = time.monotonic()
    said = program("demo", "--report", env=env)
    assert time.monotonic() - began < 15
    assert (said.code, said.err) == (0, "")
    for heading in ("LOAD NOW", "TONIGHT", "WILL IT ALL BE READY?", "SPARES"):
        assert f"\n{heading}" in said.out
    assert "×" in said.out and "\x1b" not in said.out


@pytest.mark.parametrize("columns", ["0", "-5", "1", "80", "99999", "", "x"])
def test_report_is_readable_at_any_told_width(demo: Path, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    said = command("demo", str(demo), "--report")
    assert said.code == 0
    words = said.out.split()
    # No word is cut in two, however narrow the page.
    for word in ("Cable", "pulley", "QS-102", "advised", "NO", "SPARE", "counted:"):
        assert word in words


def test_report_fits_a_screen_of_eighty_by_fifty(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = command("demo", str(demo), "--report").out.splitlines()
    assert len(lines) <= 50
    assert max(map(len, lines)) <= 80


def test_report_says_what_to_load_now_as_the_plan_has_it(demo: Path) -> None:
    page = command("demo", str(demo), "--report").out
    plan = command("demo", str(demo), "--json").json["plan"]
    loads = section(page, "LOAD NOW").splitlines()
    due_now = [job for job in plan["jobs"] if job["machine"] and job["loads"] and job["start"] == MOMENT]
    assert {job["machine"] for job in due_now} == {"Heron", "Lark"}
    for job in due_now:
        line = next(line for line in loads if line.startswith(job["machine"]))
        assert f" {job['job']} " in line and " now, unload " in line
    # Wren is taken by the job that runs on it, so its next load is not for now.
    wren = next(line for line in loads if line.startswith("Wren"))
    assert "runs A-1 until" in wren and "now" not in wren
    # Both bought parts are yet to be ordered; each waits for nothing.
    assert [line.split()[1] for line in loads if line.startswith("order")] == ["A-10", "A-11"]


def test_report_says_what_runs_on_when_the_shop_closes(demo: Path) -> None:
    page = command("demo", str(demo), "--report").out
    # demo_parts/shop.toml: Tuesday is open to 20:30, Wednesday from 16:00.
    assert "\nTONIGHT, Tue 4 Mar 20:30 to Wed 5 Mar 16:00\n" in page
    night = section(page, "TONIGHT")
    plan = command("demo", str(demo), "--json").json["plan"]
    # 20:30 and 16:00 in Oslo in March are 19:30Z and 15:00Z.
    over = [
        job["job"]
        for job in plan["jobs"]
        for load in job["loads"]
        if load["run"] < "2031-03-05T15:00:00Z" and load["end"] > "2031-03-04T19:30:00Z"
    ]
    assert over, "the demo prints something overnight"
    assert [line.split()[1] for line in night.splitlines() if line.startswith("Lark")] == over
    assert "Wren may not run with nobody there." in night


def test_report_says_what_is_late_and_why_and_what_has_no_place(demo: Path) -> None:
    page = command("demo", str(demo), "--report").out
    plan = command("demo", str(demo), "--json").json["plan"]
    ready = " ".join(section(page, "WILL IT ALL BE READY?").split())
    late = [job for job in plan["jobs"] if job["late_s"] > 0]
    assert late and plan["unplaced"]
    assert ready.startswith(f"No: {len(late)} jobs late and {len(plan['unplaced'])} not placed")
    for job in late:
        assert f"{job['job']} {job['part']} {job['revision']} LATE " in ready and job["why_late"] in ready
    for job in plan["unplaced"]:
        assert f"{job['job']} " in ready and f"NOT PLACED {job['why']}" in ready


def test_report_names_the_part_without_a_spare_and_the_spares_of_the_wrong_revision(demo: Path) -> None:
    page = " ".join(command("demo", str(demo), "--report").out.split())
    assert "NO SPARE QS-102 Cable pulley" in page
    assert page.count("NO SPARE QS") == 1
    assert "QS-103 Scoop lip 2 of revision A not counted: A does not work in place of B, which is fitted" in page


def test_second_run_opens_the_shop_as_it_was_left(demo: Path) -> None:
    assert command("spare", "take", "QS-106", register=demo).code == 0
    page = command("demo", str(demo), "--report").out
    assert page.count("NO SPARE  QS-") == 2
    kept = command("history", "--json", register=demo).json
    assert any("take a spare QS-106" in each["why"] for each in kept)


@pytest.mark.usefixtures("quick_build")
def test_demo_without_a_folder_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    passing = tmp_path / "passing"
    passing.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(passing))
    assert command("demo", "--report").code == 0
    assert list(passing.iterdir()) == []


def test_demo_refuses_a_folder_that_holds_other_things(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep me")
    said = command("demo", str(tmp_path / "mine"), "--report")
    assert said.code == 3 and two_sentences(said.err) and said.out == ""
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_demo_refuses_a_file_and_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    as_folder = command("demo", str(tmp_path / "file"), "--report")
    assert as_folder.code == 3 and two_sentences(as_folder.err)
    below = command("demo", str(tmp_path / "file" / "demo"), "--report")
    assert below.code == 5 and two_sentences(below.err)
    assert str(tmp_path / "file" / "demo") in below.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.usefixtures("quick_build")
def test_demo_builds_in_the_folder_that_one_stands_in(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert command("demo", ".", "--report").code == 0
    assert (Path.cwd() / "register.db").is_file()
    assert command("check", register=tmp_path / "here").code == 0
    assert [path.name for path in tmp_path.iterdir()] == ["here"]


def killed_while_building(folder: Path, number: int) -> tuple[int, str]:
    """Start the demo, send it a signal once its build is under way, and give back its code and messages."""
    running = subprocess.Popen(
        [*PROGRAM, "demo", str(folder), "--report"],
        cwd=ROOT,
        env=environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    until = time.monotonic() + 20
    while not any(folder.parent.glob(".demo-*/register.db")) and time.monotonic() < until:
        time.sleep(0.01)
    running.send_signal(number)
    _, err = running.communicate(timeout=20)
    return running.returncode, err.decode()


@POSIX
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_demo_stopped_while_it_builds_clears_up_and_says_so(tmp_path: Path, name: str) -> None:
    code, err = killed_while_building(tmp_path / "demo", getattr(signal, name))
    assert (code, err) == (130, "Stopped; nothing is half-written.\n")
    assert list(tmp_path.iterdir()) == []


@POSIX
def test_demo_killed_outright_leaves_no_half_shop_and_the_next_run_builds_it(tmp_path: Path) -> None:
    code, _ = killed_while_building(tmp_path / "demo", signal.SIGKILL)
    assert code == -signal.SIGKILL
    assert not (tmp_path / "demo").exists()
    (abandoned,) = tmp_path.iterdir()
    # A build that is twenty minutes old is nobody's any more.
    long_ago = time.time() - 1200
    os.utime(abandoned, (long_ago, long_ago))
    assert command("demo", str(tmp_path / "demo"), "--report").code == 0
    assert command("check", register=tmp_path / "demo").code == 0
    assert [path.name for path in tmp_path.iterdir()] == ["demo"]


@pytest.mark.usefixtures("quick_build")
def test_build_that_may_still_be_at_work_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".demo-0123abcd").mkdir()
    assert command("demo", str(tmp_path / "demo"), "--report").code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == [".demo-0123abcd", "demo"]


@pytest.mark.usefixtures("quick_build")
def test_of_two_builds_in_one_place_the_first_stays(
    built_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "demo"
    build = demo_shop._build

    def build_while_another_comes_first(unfinished: Path) -> None:
        build(unfinished)
        shutil.copytree(built_demo, folder)
        assert command("spare", "take", "QS-106", register=folder).code == 0

    monkeypatch.setattr(demo_shop, "_build", build_while_another_comes_first)
    assert command("demo", str(folder), "--report").out.count("NO SPARE  QS-") == 2
    assert [path.name for path in tmp_path.iterdir()] == ["demo"]


def test_time_that_is_asked_for_is_the_time_of_the_report(demo: Path) -> None:
    page = command("demo", str(demo), "--report", "--as-of", "2031-03-05 16:30").out
    assert page.startswith("Stone Shed, Wed 2031-03-05 16:30\n")
    # By hand: from 5 March to 22 March are 17 days.
    assert "in 17 days; parts are due Thu 20 Mar 18:00" in page

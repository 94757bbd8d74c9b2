"""`pitwright estimate --exact`: what it says, what it refuses, and how it shows that it is at work and stops."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, PROGRAM, ROOT, command, environment, two_sentences
from tests.geometry.stl_bytes import binary, cube, sphere

HUB = str(DEMO_PARTS / "wheel-hub-a.stl")
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="a terminal of its own")
CLEARED = b"\x1b[2K"


def test_the_exact_form_says_so_and_comes_near_to_the_fast_one() -> None:
    exact = command("estimate", HUB, "--material", "PLA", "--exact", "--json").json
    fast = command("estimate", HUB, "--material", "PLA", "--json").json
    assert (exact["exact"], fast["exact"]) == (True, False)
    assert exact["duration_s"] != fast["duration_s"]
    # The limits that the fast form is held to.
    assert fast["duration_s"] == pytest.approx(exact["duration_s"], rel=0.06)
    assert fast["volumes_mm3"]["total"] == pytest.approx(exact["volumes_mm3"]["total"], rel=0.03)
    told = command("estimate", HUB, "--material", "PLA", "--exact")
    assert "every line drawn and planned" in told.out
    assert "a few lines of each layer" in command("estimate", HUB, "--material", "PLA").out


def test_the_exact_form_goes_with_other_settings_and_a_pose(tmp_path: Path) -> None:
    part = tmp_path / "block.stl"
    part.write_bytes(binary(cube(20.0) * [1.0, 1.0, 2.0]))
    words = ("estimate", str(part), "--material", "PLA", "--exact", "--json")
    full = command(*words, "--settings", "infill_share=1").json
    assert full["volumes_mm3"]["total"] == pytest.approx(16_000.0, rel=0.01)
    lying = command(*words, "--turned", "on its back").json
    assert (lying["exact"], lying["layers"]) == (True, 100)


@pytest.mark.parametrize(
    "words",
    [
        (str(DEMO_PARTS / "side-plate-a.dxf"), "--material", "6061 3.175 mm", "--exact"),
        (HUB, "--material", "PLA", "--exact", "--poses"),
        ("run.gcode", "--exact"),
    ],
)
def test_what_has_no_exact_form_is_refused(words: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "run.gcode").write_text("G21\nG90\nG1 X10 F600\n")
    file = words[0] if Path(words[0]).is_absolute() else str(tmp_path / words[0])
    said = command("estimate", file, *words[1:])
    assert said.code != 0 and said.out == ""
    assert two_sentences(said.err) and "exact" in said.err


def at_a_terminal(*words: str, stop_at: bytes = b"") -> tuple[int, bytes, bytes]:
    """Code, output and what a terminal showed of standard error; Ctrl-C is pressed when that holds `stop_at`."""
    import pty

    ours, its = pty.openpty()
    running = subprocess.Popen(words, cwd=ROOT, env=environment(TERM="xterm"), stdout=subprocess.PIPE, stderr=its)
    os.close(its)
    shown, pressed = bytearray(), False
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        shown += piece
        if stop_at and not pressed and stop_at in shown:
            running.send_signal(signal.SIGINT)
            pressed = True
    out, _ = running.communicate(timeout=60)
    os.close(ours)
    return running.returncode, out, bytes(shown)


@POSIX
def test_ctrl_c_clears_the_bar_and_ends_it(tmp_path: Path) -> None:
    part = tmp_path / "ball.stl"
    part.write_bytes(binary(sphere(40.0, 96)))
    # 4000 layers: long enough on any computer.
    finest = ("line_width_mm=0.05", "layer_height_mm=0.02", "first_layer_height_mm=0.02")
    fine = [word for each in finest for word in ("--settings", each)]
    began = time.monotonic()
    code, out, shown = at_a_terminal(
        *PROGRAM, "estimate", str(part), "--material", "PLA", "--exact", *fine, stop_at=b"drawing every line"
    )
    assert (code, out) == (130, b"")
    assert shown.count(b"drawing every line") >= 1
    # After the bar is cleared nothing but the last word.
    assert b"Stopped; nothing is half-written." in shown.rpartition(CLEARED)[2]
    assert b"Traceback" not in shown
    assert time.monotonic() - began < 60


@POSIX
def test_what_is_soon_done_shows_no_bar() -> None:
    code, out, shown = at_a_terminal(*PROGRAM, "estimate", HUB, "--material", "PLA", "--exact", "--json")
    assert code == 0 and b'"exact": true' in out
    assert b"drawing" not in shown


BAR = """
import time
from register.cli.share_progress import share_told
with share_told("drawing every line") as tell:
    for share in (0.2, 0.4, 0.6, 1.0):
        time.sleep({each_s})
        tell(share)
print("done")
"""


@POSIX
@pytest.mark.parametrize(("each_s", "bar"), [(0.4, True), (0.01, False)])
def test_a_bar_comes_after_a_second_and_goes_at_the_end(each_s: float, bar: bool) -> None:
    code, out, shown = at_a_terminal(sys.executable, "-c", BAR.format(each_s=each_s))
    assert (code, out) == (0, b"done\n")
    assert (b"drawing every line" in shown) is bar
    if bar:
        assert shown.rstrip().endswith(CLEARED)

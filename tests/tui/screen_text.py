"""What stands on the screen of an app under test, and waiting for it."""

import asyncio
from collections.abc import Callable

from textual.app import App
from textual.pilot import Pilot


def screen_lines(app: App[None]) -> list[str]:
    """The screen as a person sees it, line by line, without trailing blanks."""
    strips = app.screen._compositor.render_strips(app.size)
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


def screen_text(app: App[None]) -> str:
    return "\n".join(screen_lines(app))


async def until(pilot: Pilot[None], said: Callable[[], bool], longest_s: float = 10.0) -> None:
    """Wait until something holds; what was asked for and the screen are shown if it never does."""
    loop = asyncio.get_running_loop()
    end = loop.time() + longest_s
    while not said():
        assert loop.time() < end, screen_text(pilot.app)
        await pilot.pause(0.02)


async def until_shown(pilot: Pilot[None], *texts: str) -> None:
    """Wait until every text stands on the screen, wherever its lines are broken."""
    await until(pilot, lambda: all(run_on(text) in run_on(screen_text(pilot.app)) for text in texts))


def run_on(text: str) -> str:
    """Text with each run of blanks and line ends made one blank."""
    return " ".join(text.split())

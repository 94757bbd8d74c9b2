"""The program on the screen: the first paint, the register opened behind it, and what ends it."""

import asyncio
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING

from textual.app import App
from textual.filter import LineFilter
from textual.screen import Screen
from textual.worker import WorkerFailed

from register.errors import Refused, RegisterError
from tui.screens.opening import OpeningScreen, RefusedScreen
from tui.widgets.disarmed import Disarmed

if TYPE_CHECKING:
    from register.opening import Register

_DISARMED = Disarmed()
# What ends a program from outside, where the system has it, and the exit code that says so.
_ENDS = ("SIGINT", "SIGTERM", "SIGHUP")
_ENDED = 130


class Screens(App[None]):
    """The screens, on a register that is open or on the one that the environment names.

    Parameters
    ----------
    register
        None to open the one that the environment names, once the first screen stands.
    """

    TITLE = "pitwright"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False

    def __init__(self, register: "Register | None" = None) -> None:
        # The sixteen colours of the terminal itself: whoever set it up can read them, light or dark, and NO_COLOR
        # takes them away whole, where it would leave grey true colour of any other theme.
        super().__init__(ansi_color=True)
        self.theme = "ansi-dark"
        self._given = register
        self.ended_by: Exception | None = None

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What every line goes through on its way to the terminal."""
        return [*super().get_line_filters(), _DISARMED]

    def get_default_screen(self) -> Screen[object]:
        """What is painted before anything heavy is loaded."""
        return OpeningScreen()

    def on_mount(self) -> None:
        # Between two steps of the loop: raised in the middle of one, the end can be lost where nobody listens for it.
        with suppress(NotImplementedError, RuntimeError):  # no such handlers on Windows, or beside the main thread
            for name in _ENDS:
                if hasattr(signal, name):
                    asyncio.get_running_loop().add_signal_handler(getattr(signal, name), self._end)
        self.call_after_refresh(self.open_first_screen)

    def _end(self) -> None:
        self.exit(return_code=_ENDED)

    def open_first_screen(self) -> None:
        """Open the register and its first screen; called once the opening screen is painted."""
        self.run_worker(self._open_first_screen(), group="open")

    async def _open_first_screen(self) -> None:
        try:
            screen = await asyncio.to_thread(_first_screen, self._given)
        except RegisterError as error:
            self.ended_by = error
            await self.push_screen(RefusedScreen(error))
        else:
            await self.push_screen(screen())

    def _handle_exception(self, error: Exception) -> None:
        # Textual would print a traceback with the values of the register; the outermost catch says one sentence.
        if self.ended_by is None:
            self.ended_by = error.error if isinstance(error, WorkerFailed) else error  # type: ignore[assignment]
        super()._handle_exception(error)
        self._exit_renderables.clear()


def open_screens() -> int:
    """Open the screens on the register that the environment names; gives back the exit code.

    Raises
    ------
    RegisterError
        If there is no terminal or no sound register; the person has read it on the screen by then.
    KeyboardInterrupt
        If a signal ended them; the terminal is as before.
    Exception
        A fault of ours, kept until the terminal was as before.
    """
    return _run(Screens())


def open_register_screens(register: "Register") -> int:
    """Open the screens on an open register; see `open_screens`."""
    return _run(Screens(register))


def _run(app: Screens) -> int:
    if not all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stderr__)):
        raise Refused(
            "The screens need a terminal to type in and to show themselves on.",
            "Open one, or use the commands: `pitwright --help`, `pitwright demo --report`.",
        )
    app.run()
    if app.ended_by is not None:
        raise app.ended_by
    if app.return_code == _ENDED:
        raise KeyboardInterrupt
    return app.return_code or 0


def _first_screen(given: "Register | None") -> Callable[[], Screen[None]]:
    # Imported here, in a thread and after the first paint: with the store they load most of a second's libraries.
    from register.opening import open_register, person_named, register_folder
    from tui.screens.parts import PartsScreen

    register = given or open_register(register_folder(None), person_named(None))
    return partial(PartsScreen, register)

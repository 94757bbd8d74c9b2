"""What every screen on a register has: it reads in a thread, acts in a thread, and follows what others write.

A new screen gives `place`, `compose_body`, `read_view` and `show_view`, has its own keys before `COMMON_KEYS` and a
`.tcss` of its own beside it, and calls `perform` for each thing that a person does. It holds no transaction and knows
no rule of the shop.
"""

import asyncio
from abc import abstractmethod
from collections.abc import Callable
from typing import Any, ClassVar, Generic, TypeVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen
from textual.widgets import Footer

from register.actions import history
from register.domain.history import Operation
from register.errors import RegisterError
from register.opening import Register
from tui.screens.keys import KeysScreen
from tui.widgets.lines import Heading, MessageLine, TroubleLine

POLL_S = 0.5

# What every screen can do; a screen puts them behind its own keys, in the order in which the footer shows them.
COMMON_KEYS = (
    Binding("u", "undo", "Undo"),
    Binding("r", "read_again", "Read again"),
    Binding("question_mark", "keys", "Keys", key_display="?"),
    Binding("q", "app.quit", "Quit"),
)

View = TypeVar("View")
Result = TypeVar("Result")


class RegisterScreen(Screen[None], Generic[View]):
    """A screen on an open register.

    Parameters
    ----------
    register
        Read and written through actions alone.
    """

    place: ClassVar[str] = ""

    def __init__(self, register: Register) -> None:
        super().__init__()
        self.register = register
        self._seen: int | None = None
        self._reading = False
        self._wanted = False
        self._unread = False
        self._turn = asyncio.Lock()

    @abstractmethod
    def compose_body(self) -> ComposeResult:
        """The widgets between the heading and the message line."""

    @abstractmethod
    def read_view(self) -> View:
        """Read what the screen shows; called in a thread."""

    @abstractmethod
    def show_view(self, view: View) -> None:
        """Show what was read."""

    def compose(self) -> ComposeResult:
        yield Heading(self.place, str(self.register.folder), self.register.who)
        yield TroubleLine()
        yield from self.compose_body()
        yield MessageLine()
        yield Footer()

    def on_mount(self) -> None:
        self.run_worker(self._follow_changes(), group="follow")
        if self.register.place_warning:
            self.say(self.register.place_warning)

    def on_screen_resume(self) -> None:
        self._tell_trouble()
        self.read()

    def read(self) -> None:
        """Read and show again; one reading at a time, and always one that began after the last call."""
        self._wanted = True
        if not self._reading:
            self._reading = True
            self.run_worker(self._read(), group="read")

    def perform(self, action: Callable[[], Result], show: Callable[[Result], None]) -> None:
        """Do something in a thread, one thing after another, and show what came of it.

        Parameters
        ----------
        action
            Calls one action; what it refuses is said in the message line.
        show
            Given what the action gave.
        """
        self.run_worker(self._perform(action, show), group="perform")

    async def attempt(self, action: Callable[[], Result], show: Callable[[Result], None]) -> None:
        """Do something in a thread, whatever else is being done; for slow work that the screen goes on beside."""
        try:
            result = await asyncio.to_thread(action)
        except RegisterError as error:
            self.refuse(error)
        else:
            if self.stands:
                show(result)

    @property
    def stands(self) -> bool:
        """Whether the widgets are still there: what a thread brings may come when the screen is being taken down."""
        return self.is_attached and all(self.query(kind) for kind in (Heading, TroubleLine, MessageLine, Footer))

    def say(self, text: str | Text) -> None:
        """Say something in the message line."""
        if self.stands:
            self.query_one(MessageLine).say(text)

    def refuse(self, error: RegisterError) -> None:
        """Say in the message line what is wrong and what to do about it."""
        if self.stands:
            self.query_one(MessageLine).refuse(error)

    def action_undo(self) -> None:
        """Take one's own last operation back."""
        self.perform(lambda: history.undo(self.register), self._say_undone)

    def action_read_again(self) -> None:
        """Read again, whether anything has changed or not."""
        self.say("")
        self.read()

    def action_keys(self) -> None:
        """Show what the keys do."""
        self.app.push_screen(KeysScreen())

    def _say_undone(self, done: Operation) -> None:
        self.say(f"Undone: {done.why} (operation {done.number}). `pitwright history` lists the rest.")

    async def _read(self) -> None:
        try:
            while self._wanted:
                self._wanted = False
                await self._read_once()
        finally:
            self._reading = False

    async def _read_once(self) -> None:
        try:
            # The version first: what is written while the rest is read then counts as new.
            self._seen = await asyncio.to_thread(self.register.data_version)
            view = await asyncio.to_thread(self.read_view)
        except RegisterError as error:
            self._unread = True
            self.refuse(error)
            return
        if self._unread:
            self._unread = False
            self.say("")
        if self.stands:
            self.show_view(view)

    async def _perform(self, action: Callable[[], Result], show: Callable[[Result], None]) -> None:
        async with self._turn:
            await self.attempt(action, show)
        self._tell_trouble()
        self.read()

    def _tell_trouble(self) -> None:
        """The backup that a day begins with is made before its first write; if it was not, every screen says so."""
        trouble = self.register.backup_trouble()
        if self.stands:
            said = f"This day's backup was not made. {trouble}" if trouble else ""
            self.query_one(TroubleLine).show(said)

    async def _follow_changes(self) -> None:
        """Read again when another terminal, or anyone, has written."""
        while True:
            await asyncio.sleep(POLL_S)
            if self._reading or not self.is_current:
                continue
            try:
                version = await asyncio.to_thread(self.register.data_version)
            except RegisterError as error:
                self._unread, self._seen = True, None
                self.refuse(error)
                continue
            if version != self._seen:
                self.read()


AnyRegisterScreen = RegisterScreen[Any]

"""What every command has: the register, the time, the person, and whether to print JSON."""

import inspect
import io
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, wraps
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from register.actions.shop import shop_settings
from register.cli.json_form import as_json
from register.cli.saying import say_note
from register.domain.clock import fixed_at
from register.domain.shop import Shop
from register.domain.texts import visible_alone
from register.errors import BadFile, NotFound, Refused
from register.opening import Register, at_time, open_register, person_named, register_folder
from register.units.moments import moment

LARGEST_FILE_BYTES = 200_000_000
# Where nothing tells the width, as in a pipe, tables may be this wide; never are they squeezed below the least.
_PLAIN_WIDTH = 120
_LEAST_WIDTH, _MOST_WIDTH = 80, 400


@dataclass
class Here:
    """The place and time of one command."""

    folder: Path | None = None
    as_of: str | None = None
    who: str | None = None
    json: bool = False

    @property
    def register_folder(self) -> Path:
        """The register's folder."""
        return register_folder(self.folder)

    @property
    def person(self) -> str:
        """Who works: as named, else from the environment, else the user of this computer."""
        return person_named(self.who)

    @cached_property
    def register(self) -> Register:
        """The open register, at the time asked for."""
        return self.seen(open_register(self.register_folder, self.person))

    def seen(self, opened: Register) -> Register:
        """`opened`, at the time asked for; where it lies is said if it is not safe there."""
        if opened.place_warning:
            say_note(opened.place_warning)
        if self.as_of is None:
            return opened
        return at_time(opened, fixed_at(moment(self.as_of, _zone(opened))))

    @cached_property
    def shop(self) -> Shop:
        """The register's shop."""
        return shop_settings(self.register).shop

    @property
    def zone(self) -> str:
        """The shop's zone; UTC before there is a shop."""
        return _zone(self.register)

    def moment(self, text: str) -> datetime:
        """A written time in the shop's zone."""
        return moment(text, self.zone)

    def show(self, view: Any, report: Callable[[], RenderableType]) -> None:
        """Print a view: its JSON, or its report for people."""
        put(as_json(view) + "\n" if self.json else rendered(report()))
        opened = vars(self).get("register")
        trouble = opened.backup_trouble() if isinstance(opened, Register) else None
        if trouble is not None:
            say_note(f"This day's backup was not made. {trouble}")


def rendered(report: RenderableType) -> str:
    """A report as text: as wide as the terminal or $COLUMNS, and with colour only for a terminal."""
    width = shutil.get_terminal_size((_PLAIN_WIDTH, 40)).columns
    page = Console(
        file=io.StringIO(),
        force_terminal=True if sys.stdout.isatty() else None,
        legacy_windows=False,
        highlight=False,
        width=min(max(width, _LEAST_WIDTH), _MOST_WIDTH),
    )
    with page.capture() as captured:
        page.print(_Disarmed(report))
    text = captured.get()
    return text if page.is_terminal else "".join(f"{line.rstrip()}\n" for line in text.removesuffix("\n").split("\n"))


@dataclass(frozen=True)
class _Disarmed:
    """A report without what could drive a terminal: the last gate, for what a report forgot to write out."""

    report: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Segment]:
        for segment in console.render(self.report, options):
            if not segment.control:
                yield Segment(visible_alone(segment.text), segment.style)


def put(text: str) -> None:
    """Write to standard output.

    Raises
    ------
    Refused
        If it cannot be written; a reader that has gone is BrokenPipeError.
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise Refused(
            f"The output could not be written: {error.strerror}.", "Check where it goes and the space there."
        ) from error


def here(context: typer.Context) -> Here:
    """The place and time that the command line gave, before the noun or behind the verb."""
    root = context.find_root()
    if not isinstance(root.obj, Here):
        root.obj = Here()
    return root.obj


def read_file(path: Path) -> bytes:
    """The bytes of a file that a person named.

    Raises
    ------
    BadFile
        If it is missing, no file, too large or cannot be read.
    """
    try:
        if not path.is_file():
            what = "is a folder" if path.is_dir() else "does not exist" if not path.exists() else "is no plain file"
            raise BadFile(f"{path} {what}.", "Name a file.")
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise BadFile(f"{path} is larger than {LARGEST_FILE_BYTES // 1_000_000} MB.", "Save it coarser.")
        return path.read_bytes()
    except OSError as error:
        raise BadFile(f"{path} cannot be read: {error.strerror}.", "Check its name and its permissions.") from error
    except ValueError as error:
        raise BadFile("The file's name cannot be used.", "Name a file without hidden signs.") from error


Folder = Annotated[
    Path | None,
    typer.Option("--register", help="Folder of the register; else $PITWRIGHT_REGISTER, else your data folder."),
]
AsOf = Annotated[
    str | None, typer.Option("--as-of", help="Work as if it were this time, in the shop's zone: 2031-03-04 16:40.")
]
Who = Annotated[
    str | None, typer.Option("--who", help="Who you are, for the history; else $PITWRIGHT_WHO, else your user name.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
_COMMON: dict[str, tuple[Any, Any]] = {
    "register_folder": (Folder, None),
    "as_of": (AsOf, None),
    "who": (Who, None),
    "as_json": (Json, False),
}


class Nouns(typer.Typer):
    """A group of verbs whose commands all have the common options."""

    def __init__(self, text: str) -> None:
        super().__init__(
            help=text,
            no_args_is_help=True,
            add_completion=False,
            rich_markup_mode=None,
            context_settings={"help_option_names": ["-h", "--help"]},
        )

    def verb(self, name: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
        """Register a function as a command; it gets the common options beside its own."""

        def register(function: Callable[..., None]) -> Callable[..., None]:
            self.command(name)(_with_common(function))
            return function

        return register


def take_common(
    context: typer.Context,
    register_folder: Folder = None,
    as_of: AsOf = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Keep what was said of the common options, before the noun or behind the verb; the later word wins."""
    place = here(context)
    place.folder = register_folder or place.folder
    place.as_of = as_of or place.as_of
    place.who = who or place.who
    place.json = as_json or place.json


def _with_common(function: Callable[..., None]) -> Callable[..., None]:
    """`function` with the common options added to what the command line shows and takes."""

    @wraps(function)
    def command(context: typer.Context, **words: Any) -> None:
        take_common(context, **{name: words.pop(name) for name in _COMMON})
        function(context, **words)

    own = inspect.signature(function)
    added = [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=kind)
        for name, (kind, default) in _COMMON.items()
    ]
    command.__signature__ = own.replace(parameters=[*own.parameters.values(), *added])  # type: ignore[attr-defined]
    command.__annotations__ = function.__annotations__ | {name: kind for name, (kind, _) in _COMMON.items()}
    return command


def _zone(register: Register) -> str:
    try:
        return shop_settings(register).shop.zone
    except NotFound:
        return "UTC"

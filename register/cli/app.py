"""Every command by its name, and running one."""

from functools import cache
from typing import Annotated, Any

import typer
from typer.main import get_command

from register.cli.here import AsOf, Folder, Json, Nouns, Who, here, put, take_common
from register.cli.on_demand import Front
from register.cli.saying import say_error, say_note
from register.cli.wrong_words import wrong_words
from register.errors import RegisterError

# What the library makes of Ctrl-C.
_STOPPED = 130

app = Nouns("The part register and job planner of a robotics shop. Without a command it opens the screens.")


def _print_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        put(f"pitwright {version('pitwright')}\n")
        raise typer.Exit


@app.callback(cls=Front, invoke_without_command=True)
def front(
    context: typer.Context,
    register_folder: Folder = None,
    as_of: AsOf = None,
    who: Who = None,
    as_json: Json = False,
    show_version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """The part register and job planner of a robotics shop. Without a command it opens the screens."""
    take_common(context, register_folder, as_of, who, as_json)
    if context.invoked_subcommand is None:
        from tui.app import open_register_screens

        raise typer.Exit(open_register_screens(here(context).register))


@cache
def _commands() -> Any:
    return get_command(app)


def run(words: list[str]) -> int:
    """Run a command and give back its exit code; refusals and wrong words are said here, all else goes on up."""
    try:
        left = _commands().main(args=words, prog_name="pitwright", standalone_mode=False)
    except RegisterError as error:
        return say_error(error)
    except typer.TyperException as error:
        say_note(wrong_words(error))
        return 2
    except SystemExit as exited:
        # The library leaves in its own way where the reader of the output has gone.
        if isinstance(exited.__context__, BrokenPipeError):
            raise exited.__context__ from None
        raise
    if left == _STOPPED:
        raise KeyboardInterrupt
    return left if isinstance(left, int) else 0

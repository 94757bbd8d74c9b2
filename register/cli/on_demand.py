"""Commands that load once they are named: a list of spares needs neither the planner nor the demo shop."""

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

from typer.core import TyperGroup
from typer.main import get_group

from register.cli.here import Nouns

# Single verbs and the file of each, then nouns, each with the name that its verbs have there; in the order of the help.
SINGLE_VERBS = {
    "init": "shop_commands",
    "demo": "demo_command",
    "estimate": "estimate_command",
    "plan": "plan_commands",
    "history": "history_commands",
    "undo": "history_commands",
    "backup": "keeping_commands",
    "restore": "keeping_commands",
    "export": "keeping_commands",
    "import": "keeping_commands",
    "check": "keeping_commands",
    "upgrade": "upgrade_command",
}
NOUNS = {
    "part": ("part_commands", "verbs"),
    "revision": ("revision_commands", "verbs"),
    "robot": ("robot_commands", "verbs"),
    "assembly": ("robot_commands", "assembly_verbs"),
    "job": ("job_commands", "verbs"),
    "spare": ("spare_commands", "verbs"),
    "replacement": ("spare_commands", "replacement_verbs"),
    "competition": ("competition_commands", "verbs"),
    "stock": ("stock_commands", "verbs"),
    "shop": ("shop_commands", "verbs"),
    "machine": ("shop_commands", "machine_verbs"),
}
_KINDS = {
    "<str>": "<text>",
    "<list[str]>": "<text>",
    "<int>": "<number>",
    "<int range>": "<number>",
    "<float>": "<number>",
}


class Commands(Mapping[str, Any]):
    """Every command by its name; each is loaded when it is first asked for."""

    def __init__(self) -> None:
        self._loaded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._loaded:
            self._loaded[name] = _loaded(name)
        return self._loaded[name]

    def __iter__(self) -> Iterator[str]:
        yield from SINGLE_VERBS
        yield from NOUNS

    def __len__(self) -> int:
        return len(SINGLE_VERBS) + len(NOUNS)


class Front(TyperGroup):
    """The group of all commands."""

    def __init__(self, **attrs: Any) -> None:
        super().__init__(**attrs)
        self.commands = Commands()  # type: ignore[assignment]  # the library only ever reads it
        say_kinds(self)


def say_kinds(command: Any) -> None:
    """Let the help say what kind of word goes where, instead of a type of the language: `<text>` for `<str>`."""
    for parameter in command.params:
        kind = parameter.display_type
        parameter.display_type = lambda context, kind=kind: _KINDS.get(kind(context), kind(context))


def _loaded(name: str) -> Any:
    holder = Nouns("")
    if name in NOUNS:
        file, verbs = NOUNS[name]
        holder.add_typer(getattr(import_module(f"register.cli.{file}"), verbs), name=name)
    else:
        import_module(f"register.cli.{SINGLE_VERBS[name]}").add_single_verbs(holder)
    command = get_group(holder).commands[name]
    for each in (command, *getattr(command, "commands", {}).values()):
        say_kinds(each)
    return command

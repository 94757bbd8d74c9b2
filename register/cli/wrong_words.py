"""What is said of a command line that cannot be read: a sentence of our own, whatever the library would print."""

import re
from typing import Any

import typer

# What the library says, and how it is said here.
_SAID = (
    (re.compile(r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)", re.DOTALL), r"There is a word too many: \1."),
    (re.compile(r"No such option: ?(.*) \(Possible options: (.*)\)", re.DOTALL), r"There is no option \1; is it \2?"),
    (re.compile(r"No such option: ?(.*)", re.DOTALL), r"There is no option \1."),
    (re.compile(r"Option '(.*)' requires an argument\."), r"The option \1 needs a value."),
    (re.compile(r"Option '(.*)' does not take a value\."), r"The option \1 takes no value."),
    (re.compile(r"No such command '(.*?)'\.?(.*)", re.DOTALL), r"There is no command '\1'.\2"),
    (re.compile(r"Missing command\.?"), "A command is missing."),
    (re.compile(r"Missing argument '(.*)'\."), r"The \1 is missing."),
    (re.compile(r"Missing option '(.*)'\."), r"The option \1 is missing."),
)


def wrong_words(error: typer.TyperException) -> str:
    """One sentence on what cannot be read, and where to look, each in a line of its own.

    A noun without its verb gets the help instead.
    """
    context: typer.Context | None = getattr(error, "ctx", None)
    said = error.format_message() or "A command is missing."
    if type(error).__name__ == "NoArgsIsHelpError":
        return said
    path = context.command_path if context else "pitwright"
    return f"{_value_words(error) or _reworded(said)}\nSee `{path} --help`."


def _reworded(said: str) -> str:
    for pattern, words in _SAID:
        found = pattern.fullmatch(said)
        if found:
            return found.expand(words).strip()
    return said if said.endswith((".", "?", ")")) else f"{said}."


def _value_words(error: typer.TyperException) -> str | None:
    """What is wrong with one value, if the library says which and why."""
    told = getattr(error.__cause__, "errors", None)
    parameter = getattr(error, "param", None)
    if told is None or parameter is None:
        return None
    first: dict[str, Any] = told()[0]
    hint = str(parameter.get_error_hint()).strip("'")
    given, limits = f"{first.get('input')!r}", first.get("ctx", {})
    kind = str(first.get("type", ""))
    if kind.startswith("int_"):
        return f"{given} for {hint} is not a whole number."
    if kind.startswith("float_"):
        return f"{given} for {hint} is not a number."
    if kind == "greater_than_equal":
        return f"{given} for {hint} is too small: it is at least {limits.get('ge')}."
    if kind == "less_than_equal":
        return f"{given} for {hint} is too large: it is at most {limits.get('le')}."
    choices = getattr(parameter, "choices", None) or re.findall(r"'([^']*)'", str(first.get("msg", "")))[1:]
    return f"{given} for {hint} is none of: {', '.join(map(str, choices))}." if choices else None

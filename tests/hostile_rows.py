"""A register into which someone wrote with SQL of their own: every text that is free drives a terminal."""

import json
import sqlite3
from pathlib import Path
from typing import Any

# Clear the screen, set the title, a link, a C1 sequence, a text that runs backwards, a line end of its own, a delete.
SIGNS = "\x1b[2J\x1b]0;owned\x07\x1b]8;;http://x\x1b\\\x9b31m\u202egnp\u2066\u2028\x85\x7f\r\n\t\U000e0041"
FREE_TEXTS = {
    "part": ("name",),
    "robot": ("name", "note"),
    "assembly": ("name",),
    "position": ("name",),
    "competition": ("name",),
    "lot": ("label", "material", "note"),
    "machine": ("name",),
    "material": ("name", "source"),
    "tool": ("name",),
    "person": ("name",),
    "shop": ("name",),
    "stored_file": ("name",),
    "revision": ("interchange_why", "changed", "material", "file_name", "logged_by", "released_by"),
    "job": ("note", "queued_by"),
    "piece_move": ("place", "note"),
    "stock_move": ("note",),
    "replacement": ("note", "by"),
    "fitted": ("fitted_by",),
    "unattended_permission": ("given_by", "conditions"),
    "operation": ("who", "why"),
}
JSON_TEXTS = {
    "estimate": ("body",),
    "plan": ("body",),
    "machine": ("materials", "tools"),
    "person": ("signed_off",),
}
# Texts of these keys are words that the program knows, times and hashes.
KNOWN_WORDS = {"process", "sha256", "form", "unit", "state"}


def make_hostile(register: Path) -> int:
    """Put `SIGNS` behind every free text of a register; gives back how many texts it was."""
    connection = sqlite3.connect(register / "register.db")
    connection.create_function("armed", 1, lambda text: None if text is None else f"{text}{SIGNS}")
    connection.create_function("armed_json", 1, lambda text: json.dumps(_armed(json.loads(text))))
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        connection.execute(f'DROP TRIGGER "{name}"')
    count = 0
    for function, columns in (("armed", FREE_TEXTS), ("armed_json", JSON_TEXTS)):
        for table, names in columns.items():
            for name in names:
                done = connection.execute(f'UPDATE "{table}" SET "{name}" = {function}("{name}")')
                count += done.rowcount
    for _, sql in triggers:
        connection.execute(sql)
    connection.commit()
    connection.close()
    return count


def _armed(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _armed(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [_armed(each, key) for each in value]
    if isinstance(value, str) and key not in KNOWN_WORDS and not value[:4].isdigit():
        return f"{value}{SIGNS}"
    return value

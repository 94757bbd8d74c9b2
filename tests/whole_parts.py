"""Whether what an import left is whole, asked of the database and the folder by the standard library alone."""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

# Imported parts have one of each; a part that a person added may have none.
_NOT_WHOLE = (
    ("part without a revision", "SELECT number FROM part WHERE key NOT IN (SELECT part_key FROM revision)"),
    (
        "revision without an estimate",
        "SELECT file_name FROM revision WHERE key NOT IN (SELECT revision_key FROM estimate)",
    ),
    (
        "revision without the row of its file",
        "SELECT file_name FROM revision WHERE coalesce(file_sha256, '') NOT IN (SELECT sha256 FROM stored_file)",
    ),
    ("file of two revisions", "SELECT file_name FROM revision GROUP BY file_sha256 HAVING count(*) > 1"),
    ("operation that did not end", "SELECT * FROM open_operation"),
)


def halves(register: Path) -> list[str]:
    """What is not whole in a register that imports alone have filled."""
    return list(_halves(register))


def imported(register: Path) -> int:
    """How many revisions there are."""
    with closing(sqlite3.connect(register / "register.db")) as connection:
        return int(connection.execute("SELECT count(*) FROM revision").fetchone()[0])


def files_without_a_row(register: Path) -> list[Path]:
    """Files of the file room that no row names, passing ones too."""
    with closing(sqlite3.connect(register / "register.db")) as connection:
        named = {sha256 for (sha256,) in connection.execute("SELECT sha256 FROM stored_file")}
    found = (register / "files").rglob("*")
    return sorted(path for path in found if path.is_file() and path.name not in named)


def _halves(register: Path) -> Iterator[str]:
    with closing(sqlite3.connect(register / "register.db")) as connection:
        for what, query in _NOT_WHOLE:
            yield from (f"{what}: {found}" for (found, *_) in connection.execute(query))
        rows = connection.execute("SELECT sha256, bytes FROM stored_file").fetchall()
    for sha256, size_bytes in rows:
        path = register / "files" / sha256[:2] / sha256
        content = path.read_bytes() if path.exists() else b""
        if len(content) != size_bytes or hashlib.sha256(content).hexdigest() != sha256:
            yield f"file that is not what its row says: {sha256}"

"""Rules of the source that our linters do not hold: one way to write, one place that catches all, small files."""

import ast
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = sorted(
    path.relative_to(ROOT).as_posix() for package in ("register", "tui") for path in (ROOT / package).rglob("*.py")
)
LONGEST_FILE_LINES = 350
MAY_COMMIT = {"register/store/transaction.py"}
MAY_CATCH_EVERYTHING = {"register/cli/__main__.py", "tui/app.py"}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "register", "tui", "tests", "demo_parts"}
# Data that is code when read, and shells.
NEVER_IMPORTED = {"pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "imp", "code", "codeop"}
NEVER_CALLED = {"eval", "exec", "compile", "__import__", "os.system", "os.popen", "subprocess.getoutput"} | {
    *(f"os.{kind}{how}" for kind in ("exec", "spawn") for how in ("l", "le", "lp", "lpe", "v", "ve", "vp", "vpe")),
    *("subprocess.getstatusoutput", "asyncio.create_subprocess_shell", "os.startfile"),
}
# There document types and entities are refused.
MAY_PARSE_XML = {"register/geometry/packed_xml.py"}
# A schema step, by its number.
MAY_IMPORT_BY_NUMBER = {"register/store/migrate.py"}
MADE_BY_BUILDS = {"build", "dist", "PKG-INFO"}
# Textual calls these by their names; what they do is told in its own documents.
CALLED_BY_TEXTUAL = ("compose", "render", "on_", "watch_", "validate_", "compute_", "key_", "check_action")

Rule = Callable[[str, str], list[str]]


def called_name(call: ast.Call) -> str:
    """`commit` for both `commit()` and `session.commit()`."""
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def calls(tree: ast.AST) -> Iterator[ast.Call]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def commits(place: str, text: str) -> list[str]:
    """Calls of commit(), and SQL that says COMMIT, outside the one transaction."""
    if place in MAY_COMMIT:
        return []
    tree = ast.parse(text)
    found = [call.lineno for call in calls(tree) if called_name(call) == "commit"]
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            statement = node.value.strip().rstrip(";").upper()
            if statement in {"COMMIT", "COMMIT TRANSACTION", "END TRANSACTION"}:
                found.append(node.lineno)
    return [f"{place}:{line} commits" for line in found]


def names_in(node: ast.expr | None) -> set[str]:
    if isinstance(node, ast.Tuple):
        return set().union(*(names_in(part) for part in node.elts))
    if isinstance(node, ast.Attribute):
        return {node.attr}
    return {node.id} if isinstance(node, ast.Name) else set()


def wide_catches(place: str, text: str) -> list[str]:
    """Handlers that catch every exception, outside the two outermost entries."""
    if place in MAY_CATCH_EVERYTHING:
        return []
    tree = ast.parse(text)
    everything = {"Exception", "BaseException"}
    found = [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.ExceptHandler) and (node.type is None or names_in(node.type) & everything)
    ]
    for call in calls(tree):
        if called_name(call) == "suppress" and any(names_in(argument) & everything for argument in call.args):
            found.append(call.lineno)
    return [f"{place}:{line} catches everything" for line in found]


def long_files(place: str, text: str) -> list[str]:
    lines = len(text.splitlines())
    # A schema step is one frozen list of tables and columns; it is never edited again.
    frozen = place.startswith("register/store/migrations/")
    return [f"{place} has {lines} lines"] if lines > LONGEST_FILE_LINES and not frozen else []


def prints(place: str, text: str) -> list[str]:
    """Calls of print() outside the command line."""
    if place.startswith("register/cli/"):
        return []
    return [
        f"{place}:{call.lineno} prints"
        for call in calls(ast.parse(text))
        if isinstance(call.func, ast.Name) and call.func.id == "print"
    ]


def public_functions(body: list[ast.stmt]) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Functions of a module and methods of its public classes, without those inside functions."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public_functions(node.body)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            yield node


def undocumented_functions(place: str, text: str) -> list[str]:
    """Public functions and methods without a docstring."""
    return [
        f"{place}:{function.lineno} {function.name} has no docstring"
        for function in public_functions(ast.parse(text).body)
        if ast.get_docstring(function) is None
        and not (place.startswith("tui/") and function.name.startswith(CALLED_BY_TEXTUAL))
    ]


def filled_package_files(place: str, text: str) -> list[str]:
    return [f"{place} is not empty"] if place.endswith("__init__.py") and text.strip() else []


def imported(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Modules that are imported, whole or in part, with their lines."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((name.name, node.lineno) for name in node.names)
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module, node.lineno
            # `from os import system`, `from xml import sax`
            yield from ((f"{node.module}.{name.name}", node.lineno) for name in node.names)


def dangers(place: str, text: str) -> list[str]:
    """Ways for bytes from outside to become code, a command or a file somewhere else."""
    tree = ast.parse(text)
    found = [
        line
        for module, line in imported(tree)
        if module.split(".")[0] in NEVER_IMPORTED
        or module in NEVER_CALLED
        or (module.split(".")[0] == "xml" and place not in MAY_PARSE_XML)
    ]
    for call in calls(tree):
        name = ast.unparse(call.func)
        given = {word.arg: word.value for word in call.keywords}
        harmless_words = (ast.Constant(value=False), ast.Constant(value=None))
        if name in NEVER_CALLED or name.rpartition(".")[2] in {"extractall", "unpack_archive"}:
            found.append(call.lineno)
        if name == "importlib.import_module" and place not in MAY_IMPORT_BY_NUMBER:
            found.append(call.lineno)
        for word in ("shell", "allow_pickle"):
            if word in given and ast.dump(given[word]) not in map(ast.dump, harmless_words):
                found.append(call.lineno)
    return [f"{place}:{line} lets data become code, a command or a path" for line in sorted(set(found))]


RULES: list[Rule] = [dangers, commits, wide_catches, long_files, prints, undocumented_functions, filled_package_files]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_no_source_file_breaks_the_rule(rule: Rule) -> None:
    assert SOURCES
    broken = [line for place in SOURCES for line in rule(place, (ROOT / place).read_text("utf-8"))]
    assert not broken, "\n".join(broken)


@pytest.mark.parametrize(
    ("rule", "place", "text"),
    [
        (dangers, "register/settings/fields.py", "eval('1')\n"),
        (dangers, "register/settings/fields.py", "exec(text)\n"),
        (dangers, "register/settings/fields.py", "code = compile(text, '', 'eval')\n"),
        (dangers, "register/settings/fields.py", "__import__(name)\n"),
        (dangers, "register/settings/fields.py", "importlib.import_module(name)\n"),
        (dangers, "register/workers.py", "import pickle\n"),
        (dangers, "register/workers.py", "from marshal import loads\n"),
        (dangers, "register/settings/shop_file.py", "import yaml\n"),
        (dangers, "tui/app.py", "os.system('clear')\n"),
        (dangers, "tui/app.py", "from os import system\n"),
        (dangers, "tui/app.py", "subprocess.run(words, shell=True)\n"),
        (dangers, "tui/app.py", "subprocess.run(words, shell=asked)\n"),
        (dangers, "tui/app.py", "os.execvp(words[0], words)\n"),
        (dangers, "register/geometry/meshes.py", "np.load(file, allow_pickle=True)\n"),
        (dangers, "register/geometry/meshes.py", "import xml.sax\n"),
        (dangers, "register/store/backup.py", "archive.extractall(folder)\n"),
        (commits, "register/actions/parts.py", "session.commit()\n"),
        (commits, "register/store/parts.py", "connection.execute('commit;')\n"),
        (wide_catches, "register/plan/search.py", "try:\n    x\nexcept Exception:\n    pass\n"),
        (wide_catches, "register/plan/search.py", "try:\n    x\nexcept (OSError, BaseException):\n    pass\n"),
        (wide_catches, "tui/screens/plan.py", "try:\n    x\nexcept:\n    pass\n"),
        (wide_catches, "register/workers.py", "with contextlib.suppress(Exception):\n    x\n"),
        (long_files, "register/units.py", "x = 1\n" * (LONGEST_FILE_LINES + 1)),
        (prints, "register/reports/season.py", "def _season():\n    print(1)\n"),
        (undocumented_functions, "register/units.py", "def read_length(text):\n    return text\n"),
        (
            undocumented_functions,
            "tui/widgets/lanes.py",
            "class Lanes:\n    def action_next(self):\n        pass\n",
        ),
        (filled_package_files, "register/plan/__init__.py", "from register.plan import search\n"),
    ],
)
def test_rule_finds_what_it_forbids(rule: Rule, place: str, text: str) -> None:
    assert len(rule(place, text)) == 1


@pytest.mark.parametrize(
    ("rule", "place", "text"),
    [
        (dangers, "register/store/parts.py", "session.exec(wanted)\nre.compile('x')\n"),
        (dangers, "register/workers.py", "subprocess.run(words, shell=False)\n"),
        (dangers, "register/geometry/packed_xml.py", "from xml.parsers import expat\n"),
        (commits, "register/store/transaction.py", "session.commit()\n"),
        (wide_catches, "register/cli/__main__.py", "try:\n    x\nexcept Exception:\n    pass\n"),
        (wide_catches, "register/plan/search.py", "try:\n    x\nexcept ValueError:\n    pass\n"),
        (long_files, "register/units.py", "x = 1\n" * LONGEST_FILE_LINES),
        (prints, "register/cli/spares.py", "print(1)\n"),
        (undocumented_functions, "register/units.py", "def _read(text):\n    return text\n"),
        (undocumented_functions, "tui/app.py", "class Screens:\n    def compose(self):\n        yield 1\n"),
        (filled_package_files, "register/plan/__init__.py", ""),
    ],
)
def test_rule_lets_pass_what_it_allows(rule: Rule, place: str, text: str) -> None:
    assert rule(place, text) == []


def top_level_names() -> set[str]:
    """What the checkout tracks at its top; for a folder without git, what lies there beside what builds make."""
    if (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False
        )
        if listed.returncode == 0:
            return {os.fsdecode(name).split("/")[0] for name in listed.stdout.split(b"\0") if name}
    return {
        path.name
        for path in ROOT.iterdir()
        if path.name not in MADE_BY_BUILDS | {"__pycache__"} and path.suffix != ".egg-info"
    }


def test_top_level_holds_the_seven_names_and_dot_files_alone() -> None:
    names = top_level_names()
    assert {"README.md", "pyproject.toml", "register", "tui", "tests"} <= names
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL

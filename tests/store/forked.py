"""A test's function in a process of its own that has all modules loaded already, so that it costs milliseconds."""

import os
import pickle
import sys
from collections.abc import Callable
from typing import Any, NoReturn

# An unprivileged user on every Unix: nobody.
NOBODY = 65534


def forked(function: Callable[[Callable[[object], None]], object]) -> tuple[int, int]:
    """Start `function` in a child; gives back its process id and the end of a pipe that holds what it `tell`s.

    The child must open its own register: connections do not go across a fork.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        _run(function, writer)
    os.close(writer)
    return child, reader


def in_child(function: Callable[[], object]) -> Any:
    """What `function` gave back or raised, worked out in a child."""
    child, reader = forked(lambda tell: tell(_outcome(function)))
    with os.fdopen(reader, "rb") as pipe:
        outcome = pickle.load(pipe)
    os.waitpid(child, 0)
    return outcome


def as_nobody(function: Callable[[], object]) -> Callable[[], object]:
    """`function` as a user whom permissions bind; tests may run as one whom they do not."""

    def run() -> object:
        if os.geteuid() == 0:
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        return function()

    return run


def _outcome(function: Callable[[], object]) -> object:
    try:
        return function()
    except Exception as error:  # noqa: BLE001  # whatever it raised is what the test looks at
        return error


def _run(function: Callable[[Callable[[object], None]], object], writer: int) -> NoReturn:
    code = 1
    try:
        with os.fdopen(writer, "wb", buffering=0) as pipe:
            function(lambda told: pipe.write(pickle.dumps(told)) and None)
        code = 0
    except BaseException as error:  # noqa: BLE001  # the child ends here
        print(repr(error), file=sys.stderr)
    finally:
        # Nothing of the test run that was copied into the child may end here.
        os._exit(code)

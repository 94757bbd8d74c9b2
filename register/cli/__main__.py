"""The program: the screens without a word, a command with one; the outermost catch of everything."""

import gc
import os
import signal
import sys

from register.errors import RegisterError

MADE_BEFORE_LOOKING = (50_000, 20, 20)


def main() -> None:
    """Run pitwright and leave with its exit code."""
    # Thin on purpose: a spawned child imports this module again, and the screens must paint before anything heavy.
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            # As with Ctrl-C: what is half-done is cleared away first.
            signal.signal(number, signal.default_int_handler)
    _open_streams()
    code = _flushed(_code(sys.argv[1:]))
    # Nothing is looked through for rubbish any more: the end of the process clears it all.
    gc.freeze()
    sys.exit(code)


def _open_streams() -> None:
    """Give Python the standard streams that whoever started the program left closed: what goes there is lost."""
    # The closed descriptors are taken in their order, so that no file of the register ever lands on one of them.
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        if getattr(sys, name) is None:
            opened = os.open(os.devnull, os.O_RDWR)
            if opened != number:
                os.dup2(opened, number)
                os.close(opened)
            setattr(sys, name, os.fdopen(number, mode))


def _code(words: list[str]) -> int:
    try:
        if hasattr(sys.stdout, "reconfigure"):
            sys.stdout.reconfigure(encoding="utf-8", errors="backslashreplace")
            sys.stderr.reconfigure(encoding="utf-8", errors="backslashreplace")  # type: ignore[union-attr]
        if words:
            # A command is short, and nearly all that it makes stays to its end: the libraries that it loads. Looking
            # through them for rubbish at Python's usual rate is a sixth of the whole.
            gc.set_threshold(*MADE_BEFORE_LOOKING)
            from register.cli.app import run

            return run(words)
        from tui.app import open_screens

        return open_screens()
    except RegisterError as error:
        from register.cli.saying import say_error

        return say_error(error)
    except KeyboardInterrupt:
        print("Stopped; nothing is half-written.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output has gone, as `| head` does.
        return 0
    except Exception as error:
        from register.cli.saying import say_fault

        return say_fault(error)


def _flushed(code: int) -> int:
    """`code`, with nothing left in the output that Python would stumble over while it ends."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    return code


if __name__ == "__main__":
    main()

"""The program: the screens without a word, a command with one; the outermost catch of everything."""

import sys


def main() -> None:
    """Run pitwright and leave with its exit code."""
    # Thin on purpose: a spawned child imports this module again, and the screens must paint before anything heavy.
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8", errors="backslashreplace")
        sys.stderr.reconfigure(encoding="utf-8", errors="backslashreplace")  # type: ignore[union-attr]
    sys.exit(_code(sys.argv[1:]))


def _code(words: list[str]) -> int:
    from register.errors import RegisterError

    try:
        if words:
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
        sys.stderr.close()
        return 0
    except Exception as error:
        from register.cli.saying import say_fault

        return say_fault(error)


if __name__ == "__main__":
    main()

"""Every command by its name, and running one."""

import typer

from register.cli import (
    competition_commands,
    demo_command,
    estimate_command,
    history_commands,
    job_commands,
    part_commands,
    plan_commands,
    revision_commands,
    robot_commands,
    shop_commands,
    spare_commands,
    stock_commands,
)
from register.cli.here import Nouns, take_common
from register.cli.saying import say_error, say_note
from register.errors import RegisterError

app = Nouns("The part register and job planner of a robotics shop. Without a command it opens the screens.")
app.callback()(take_common)

for noun, group in (
    ("part", part_commands.verbs),
    ("revision", revision_commands.verbs),
    ("robot", robot_commands.verbs),
    ("assembly", robot_commands.assembly_verbs),
    ("job", job_commands.verbs),
    ("spare", spare_commands.verbs),
    ("replacement", spare_commands.replacement_verbs),
    ("competition", competition_commands.verbs),
    ("stock", stock_commands.verbs),
    ("shop", shop_commands.verbs),
    ("machine", shop_commands.machine_verbs),
):
    app.add_typer(group, name=noun)

for module in (shop_commands, demo_command, estimate_command, plan_commands, history_commands):
    module.add_single_verbs(app)


def run(words: list[str]) -> int:
    """Run a command and give back its exit code; refusals and wrong words are said here, all else goes on up."""
    try:
        app(args=words, prog_name="pitwright", standalone_mode=False)
    except RegisterError as error:
        return say_error(error)
    except typer.TyperException as error:
        # Our own sentence and cure, whatever the library would print.
        context: typer.Context | None = getattr(error, "ctx", None)
        path = context.command_path if context else "pitwright"
        say_note(f"{error.format_message() or 'A command is missing.'}\nSee `{path} --help`.")
        return 2
    except typer.Exit as left:
        return int(left.exit_code)
    except typer.Abort:
        raise KeyboardInterrupt from None
    return 0

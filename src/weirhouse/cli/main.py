"""Which commands are there? The list, and what becomes of an error: one line, exit status 2, nothing changed."""

import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any

import click

# Our matrices are small: a second thread to each costs more than it helps. Said before NumPy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# command -> (module with a click command of the same name, its first line of help)
COMMANDS = {
    "demo": ("plants", "Make the demo plant Emberly with a year of records, then serve it."),
    "new": ("plants", "Start a plant folder: plant.toml with comments, empty records."),
    "check": ("checks", "Check plant file, rule packs and records; compare every unit with published design ranges."),
    "rules": ("rules", "Show the rules in force and confirm what a person has compared with the printed rule."),
    "today": ("today", "Say what to set now, and why."),
    "ahead": ("ahead", "Say what the stream may bring, and what the plant would make of it."),
    "report": ("report", "Write a month's report, or a year's figures, as PDF, JSON or CSV."),
    "import": ("imports", "Read a logger's or laboratory's file into the records."),
    "withdraw": ("imports", "Withdraw an import whole; list the imports."),
    "move": ("moving", "Take the records to a district's server, or back into the folder."),
    "original": ("imports", "Write an imported file out again, byte for byte."),
    "retention": ("keeping", "Say how long records must be kept; list those that were."),
    "work": ("work", "Work out one formula and show the working."),
    "convert": ("convert", "Write a quantity in another unit."),
    "backup": ("backup", "Copy the plant's records to every place, each copy restored for a trial."),
    "restore": ("backup", "Put the records of a backup into a new folder."),
    "people": ("people", "List people, add one, give a password, let other devices in."),
    "serve": ("plants", "Serve the pages on this machine."),
}


# What is wrong with the input, said in one sentence by the room that met it. Anything else is a fault of Weirhouse.
def unusable(error: BaseException) -> bool:
    """Return whether an error says what is wrong with the input: our own kinds of ValueError, and the disk's."""
    ours = isinstance(error, ValueError) and type(error).__module__.startswith("weirhouse.")
    return ours or isinstance(error, OSError)


class Lazy(click.Group):
    """A group whose commands are imported when they are used, so that none waits for another's libraries."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order in which a newcomer meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Return a command, imported now."""
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"weirhouse.cli.{COMMANDS[name][0]}")
        found: click.Command = getattr(module, "import_" if name == "import" else name)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="weirhouse", prog_name="weirhouse", message="%(prog)s %(version)s")
def group() -> None:
    """Weirhouse, the working desk of a small surface-water plant.

    It advises and shows how it got there; it never operates equipment. Your permit and your State come first.
    """


def one_line(error: BaseException) -> str:
    """Return what is wrong on one line."""
    if isinstance(error, OSError) and error.strerror:
        where = f"{error.filename}: " if error.filename else ""
        text = f"{where}{error.strerror[0].lower()}{error.strerror[1:]}."
        if error.errno == 28:  # ENOSPC
            text += " Free some space and run it again; nothing was changed."
        return text
    return " ".join(str(error).split()) or type(error).__name__


def offered(error: BaseException) -> str:
    """Return what helps against damaged records; nothing for any other error."""
    folder = getattr(error, "folder", None)
    if folder is None:
        return ""
    from weirhouse.records import backup_offer

    return f" {backup_offer.sentence(folder)}"


def main(arguments: Sequence[str] | None = None, **extra: Any) -> None:
    """Run the command line and leave with its exit status: 0 ok, 1 what was asked about is wrong, 2 unusable input."""
    try:
        status = group.main(args=arguments, prog_name="weirhouse", standalone_mode=False, **extra)
    except click.exceptions.Exit as leave:
        status = leave.exit_code
    except click.Abort:
        click.echo("Stopped; nothing was changed.", err=True)
        status = 2
    except click.ClickException as error:
        click.echo(f"weirhouse: {one_line_of_click(error)}", err=True)
        status = 2
    except BrokenPipeError:  # the reader of our output has gone; there is nobody to tell
        sys.stderr.close()
        status = 0
    except (ValueError, OSError) as error:
        if not unusable(error):
            raise
        click.echo(f"weirhouse: {one_line(error)}{offered(error)}", err=True)
        status = 2
    sys.exit(status if isinstance(status, int) else 0)


def one_line_of_click(error: click.ClickException) -> str:
    """Return a usage error on one line, with where to read more."""
    context = getattr(error, "ctx", None)
    more = f' See "{context.command_path} --help".' if context is not None else ""
    text = " ".join(error.format_message().split())
    return f"{text}{more}" if text.endswith((".", "?", ")")) else f"{text}.{more}"

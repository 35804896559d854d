"""The command `miswire`.

Commands are loaded when they are used: `miswire --help` imports neither numpy nor Datasette.
"""

import gc
import importlib
import os
import sys
import traceback
from collections.abc import Mapping
from contextlib import suppress
from types import ModuleType
from typing import Final, cast

import click

from catalogue.report.terminal import complain
from verify.base.problems import BugError, UserError

#: Exit statuses beyond 0, done, and 1, found wanting.
BAD_INPUT: Final = 2
OUR_BUG: Final = 70
INTERRUPTED: Final = 130
OUTPUT_CLOSED: Final = 141

#: Each command with the module and the name that hold it, and its help in a line.
COMMANDS: Final[Mapping[str, tuple[str, str]]] = {
    "check": ("catalogue.commands.check:check", "Judge circuits."),
    "faults": ("catalogue.commands.faults:faults", "Judge every single fault of a circuit."),
    "suspects": (
        "catalogue.commands.suspects:suspects",
        "Who fits what was seen, and what to check next.",
    ),
    "flips": (
        "catalogue.commands.flips:flips",
        "Say which flips show a mistake, and which mistakes no flip shows.",
    ),
    "draw": ("catalogue.commands.draw:draw", "Draw a circuit's wiring, or a fault's, as an SVG."),
    "readings": (
        "catalogue.commands.readings:readings",
        "Say what a meter reads, point by point.",
    ),
    "spice": (
        "catalogue.commands.spice:spice",
        "Write a circuit in one state as a netlist.",
    ),
    "census": (
        "catalogue.commands.census:census",
        "Count every wiring of N locations.",
    ),
    "landings": (
        "catalogue.commands.landings:landings",
        "Count every way to land the free ends of a circuit.",
    ),
    "claims": (
        "catalogue.commands.claims:claims",
        "Judge what people say about lights controlled from several places.",
    ),
    "curate": (
        "catalogue.commands.curate:curate",
        "Propose the fewest faults to teach that show everything.",
    ),
    "lessons": (
        "catalogue.commands.lessons:lessons",
        "Make worksheets, answer sheets and quizzes from the curated faults.",
    ),
    "build": ("catalogue.commands.build:build", "Build a catalogue, or go on building it."),
    "merge": ("catalogue.commands.merge:merge", "Put the parts of one build together."),
    "export": (
        "catalogue.commands.export:export",
        "Write a catalogue, or a part of it, as plain files.",
    ),
    "audit": ("catalogue.commands.audit:audit", "Prove stored verdicts again, independently."),
    "serve": ("catalogue.commands.serve:serve", "Show a catalogue in the browser."),
}


class LazyGroup(click.Group):
    """The group of all `COMMANDS`; it turns the errors that any of them raises into sentences."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names, in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load a command; None if there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        place, _, name = COMMANDS[cmd_name][0].partition(":")
        return cast(click.Command, getattr(_loaded(place), name))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; every failure ends in sentences and a status of its own."""
        try:
            return super().invoke(ctx)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except UserError as error:
            complain(error.problems)
            ctx.exit(BAD_INPUT)
        except BrokenPipeError:
            # The reader has closed the pipe, as `head` does; Python would complain when it flushes.
            with suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(OUTPUT_CLOSED)
        except OSError as error:
            click.echo(f"miswire: {error}; mend that and try again", err=True)
            ctx.exit(BAD_INPUT)
        except KeyboardInterrupt:
            click.echo("\nInterrupted.", err=True)
            ctx.exit(INTERRUPTED)
        except Exception as error:
            _own_up(error, with_traceback=ctx.params["with_traceback"])
            ctx.exit(OUR_BUG)


def _loaded(place: str) -> ModuleType:
    """Import a module, with garbage collection off meanwhile.

    Modules make objects that stay: searching them for garbage takes a quarter of the time.
    """
    if place in sys.modules:
        return sys.modules[place]
    gc.disable()
    try:
        return importlib.import_module(place)
    finally:
        gc.freeze()
        gc.enable()


def _own_up(error: Exception, *, with_traceback: bool) -> None:
    """Say that a mistake is ours and how to report it."""
    if with_traceback:
        traceback.print_exception(error)
    what = str(error) if isinstance(error, BugError) else f"{type(error).__name__}: {error}"
    remedy = "" if with_traceback else ", and what `miswire --traceback` and the command print"
    click.echo(
        f"miswire: {what}\nThis is a mistake in Miswire, not yours; trust no verdict on this "
        f"input. Please report it with the command and the file{remedy}.",
        err=True,
    )


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Exit status: 0 done, 1 found wanting, 2 bad input, 70 a mistake in Miswire itself.",
)
@click.version_option(package_name="miswire")
@click.option(
    "--traceback",
    "with_traceback",
    is_flag=True,
    help="Show where in Miswire a mistake of ours is.",
)
@click.pass_context
def main(ctx: click.Context, with_traceback: bool) -> None:
    """Prove what single wiring mistakes do to a light controlled from several places."""
    if os.environ.get("NO_COLOR"):
        ctx.color = False
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a letter of a name shows the letter's number instead.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")

"""The ``wringout`` command: sub-commands are imported only when called, so that each starts fast."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence

import click

from wringout.errors import DataError, InputError, WringoutError

__all__ = ["main"]

# name -> (module, one line for the list of commands); the module holds a click command called ``command``
COMMANDS: dict[str, tuple[str, str]] = {
    "weigh": ("wringout.cli.weigh", "Which causes explain the readings, and what to read next."),
    "next": ("wringout.cli.next_check", "The checks that tell most per minute."),
    "ledger": ("wringout.cli.ledger", "Heat and moisture each part moves, against what it should move."),
    "trend": ("wringout.cli.trend", "What a controller's log shows: outputs, swings, sensors, changes."),
    "prove": ("wringout.cli.prove", "Whether a repair has held over the days since."),
    "sweep": ("wringout.cli.sweep", "Trends of many units: who loses moisture control, why, since when."),
    "wait": ("wringout.cli.wait", "How long each point needs after a change, and what to read then."),
    "history": (
        "wringout.cli.history",
        "Visits to a unit, what differs from as left, what is learned of it.",
    ),
    "guide": ("wringout.cli.guide", "A forced state recognised from live points, waited for, and read."),
    "report": (
        "wringout.cli.report",
        "The service report of a call as PDF or HTML, or all of it as one zip.",
    ),
    "calls": ("wringout.cli.calls", "The calls in the record, the one written to last first."),
    "export": (
        "wringout.cli.export_calls",
        "Write calls from the record into one zip, or one as a document.",
    ),
    "import": ("wringout.cli.import_calls", "Bring calls into the record: a zip, documents, another record."),
    "set-up": ("wringout.cli.set_up", "What to set a machine to, with formula, source and uncertainty."),
    "listen": ("wringout.cli.listen", "Record live points: BACnet/IP and Modbus TCP, only ever read."),
    "trace": ("wringout.cli.trace", "Where a signal runs, what to read at each place, where it turns wrong."),
    "shelf": ("wringout.cli.shelf", "Manuals and wiring diagrams of a unit: search, show, pin."),
    "practise": ("wringout.cli.practise", "An invented machine with hidden causes, to practise on."),
    "serve": ("wringout.web.serve", "The app: pages for a phone, also without a connection."),
    "check": ("wringout.cli.check", "Validate a document and list what was assumed."),
    "new": ("wringout.cli.new", "Write a unit document from a few questions."),
}


class LazyGroup(click.Group):
    """A group that knows its commands by name and imports one only when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="wringout")
def group() -> None:
    """From a building that will not dry out to a proven repair.

    Exit codes: 0 done, 1 our fault, 2 something in the input to mend.

    Example: wringout weigh call.yaml
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and turn errors into one line and an exit code (2 theirs, 1 ours)."""
    try:
        status = group.main(
            args=list(arguments) if arguments is not None else None,
            prog_name="wringout",
            standalone_mode=False,
        )
    except click.exceptions.Abort:
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (InputError, DataError) as error:
        click.echo(f"wringout: {error}", err=True)
        sys.exit(2)
    except WringoutError as error:
        click.echo(f"wringout: {error}", err=True)
        sys.exit(1)
    sys.exit(status if isinstance(status, int) else 0)

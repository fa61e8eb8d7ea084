"""The commands: each parses, calls one library function, and prints."""

from __future__ import annotations

import io
import os
import sys
import warnings
from contextlib import suppress
from importlib import import_module
from typing import Any

import click

from survey import __version__

COMMANDS = {
    "start": "Write a starter plan to fill in.",
    "check": "Find errors and likely mistakes in a plan.",
    "place": "Recommend a spot for one gateway or several, and say why.",
    "links": "List the link of every inverter.",
    "compare": "Compare spots, link by link.",
    "explain": "Show a link's budget and its remedies.",
    "network": "Show the route of every inverter and single points of failure.",
    "fit": "Fit the model to readings (measured levels).",
    "draw": "Draw a picture of PLAN.",
    "dropouts": "Sort the missed polls in LOG by likely cause.",
    "rounds": "Put many sites in order: which one needs a visit today.",
    "export": "Write the site for maps, spreadsheets and drawings.",
    "report": "Write one page for the job file.",
    "materials": "List the built-in materials and their losses.",
}
"""Each command, in the order of a job, with the first line of its help: `survey.cli.NAME` holds the command NAME.

So a list of commands is printed without loading them, and a command loads no other. A new command is a line here.
"""


BLAS_THREADS = {"OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"}
"""How many threads numpy's products may use, set before it is loaded: one, unless the user says otherwise.

The program shares its work among threads itself, and on a busy machine more of them only wait for each other.
"""


def _print_warning(message: Warning | str, *_where: object, **_more: object) -> None:
    """Print a warning in one line, as commands do, without the line of code that raised it."""
    from survey.base.characters import harmless

    click.echo(f"warning: {harmless(str(message))}", err=True)


class _Program(click.Group):
    """A group that loads its commands by name and reports input errors in words, with exit status 1."""

    def main(self, *args: Any, **extra: Any) -> Any:  # noqa: ANN401  as click has it
        """Run the program; where standard output takes no more, such as on a full disk, say so with exit status 1."""
        try:
            return super().main(*args, **extra)
        except OSError as error:
            if error.filename is not None:  # a file, of which whoever opened it has not told: a fault of the program
                raise
            sys.stdout = io.StringIO()  # what is left in it cannot be written at the end either
            with suppress(OSError):
                click.echo(f"standard output cannot be written: {error.strerror}", err=True)
            sys.exit(1)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  as click has it
        from survey.base.characters import harmless
        from survey.base.errors import SurveyError, SurveyWarning

        if not BLAS_THREADS & set(os.environ):
            os.environ.update(dict.fromkeys(BLAS_THREADS, "1"))
        with warnings.catch_warnings():
            warnings.simplefilter("always", SurveyWarning)
            warnings.showwarning = _print_warning
            try:
                return super().invoke(ctx)
            except click.UsageError as error:
                words = harmless(error.format_message())  # what was typed, or came from a script
                raise click.UsageError(words, error.ctx) from error
            except SurveyError as error:
                click.echo(str(error), err=True)
                ctx.exit(1)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  as click has it
        """Load a command."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"survey.cli.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  as click has it
        """List the commands in the order of a job, not of the alphabet."""
        return list(COMMANDS)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002  as click has it
        """Write the list of commands from the table."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Suggest the nearest command for an unknown name."""
        from survey.base.errors import did_you_mean

        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            ctx.fail(f'no command "{args[0]}"{did_you_mean(args[0], self.list_commands(ctx))}')
        return super().resolve_command(ctx, args)


@click.group(cls=_Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version")
def main() -> None:
    """Find the best spot for the radio gateway of a solar site, before you fix anything to a wall.

    Describe the site in a plan file (`survey start`), check it (`survey check`), and let `survey place` recommend a
    spot. This is a prediction, not a measurement: take readings on site before you rely on it.
    """

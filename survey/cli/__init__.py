"""The commands: each parses, calls one library function, and prints."""

from __future__ import annotations

from typing import Any

import click

from survey import __version__
from survey.cli.check import check
from survey.cli.compare import compare
from survey.cli.explain import explain
from survey.cli.fit import fit
from survey.cli.links import links
from survey.cli.materials import materials
from survey.cli.network import network
from survey.cli.place import place
from survey.cli.report import report
from survey.cli.start import start
from survey.errors import SurveyError


class _Program(click.Group):
    """A group whose commands tell faults of the user's input in words, with exit status 1."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  as click has it
        try:
            return super().invoke(ctx)
        except SurveyError as error:
            click.echo(str(error), err=True)
            ctx.exit(1)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest command where there is none of that name."""
        from survey.errors import did_you_mean  # noqa: PLC0415  only where something is wrong

        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            ctx.fail(f'no command "{args[0]}"{did_you_mean(args[0], self.list_commands(ctx))}')
        return super().resolve_command(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  as click has it
        """In the order of a job, not of the alphabet."""
        return list(self.commands)


@click.group(cls=_Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version")
def main() -> None:
    """Decide where the radio gateway of a solar site goes, before anything is screwed to a wall.

    Describe the site in a plan file (`survey start`), look it over (`survey check`), and ask where the gateway goes
    (`survey place`). A prediction is no measurement: confirm it with readings on site.
    """


for _command in (start, check, place, links, compare, explain, network, fit, report, materials):
    main.add_command(_command)

"""Pages for tests to look at."""

from click.testing import CliRunner

from survey.cli import main


def written(folder, plan, *words):
    """The page of a plan, as the command writes it."""
    out = folder / "page.html"
    command = ["report", str(plan), "--out", str(out), "--date", "2026-03-05", *words]
    result = CliRunner().invoke(main, command, prog_name="survey", catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return out

"""The one tree of errors that the program raises for what a user can mend, and help with near names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path


def one_line(text: str) -> str:
    r"""Text whose line breaks and other characters that cannot be printed stand as escapes.

    Examples
    --------
    >>> print(one_line("two\nlines"))
    two\nlines
    """
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode("ascii") for one in text)


LONGEST_SHOWN = 40
"""How many letters of a value a message shows: what fits a line beside the rest."""


def shortened(text: str) -> str:
    """Return the text as a message shows it: its beginning where it is long.

    Examples
    --------
    >>> shortened("12 dB"), shortened("x" * 100_000)
    ('12 dB', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx...')
    """
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


class SurveyError(Exception):
    """Something that the user can mend; its text is written for the user."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One thing that is wrong in a file: where it stands and what would be right.

    Attributes
    ----------
    file : str
        The file as the user named it.
    place : str
        Table and entry, such as ``[[wall]] 7 "shed south wall"``; empty for the file as a whole.
    key : str
        The key in that table; empty where the entry as a whole is meant.
    problem : str
        What is wrong and what is allowed, as a sentence without its subject.
    """

    file: str
    place: str = ""
    key: str = ""
    problem: str

    def __str__(self) -> str:
        return one_line(": ".join(part for part in (self.file, self.place, self.key, self.problem) if part))


class FileError(SurveyError):
    """A file that cannot be used, with all its faults."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


class PlanError(FileError):
    """A plan that cannot be used.

    Examples
    --------
    >>> fault = Fault(file="barn.toml", place="[site]", key="name", problem="is missing")
    >>> print(PlanError([fault]))
    barn.toml: [site]: name: is missing
    """


class PatternError(FileError):
    """A table of gain by elevation that cannot be used."""


class TableError(FileError):
    """A CSV file that cannot be used: readings, or a log."""


class FitError(FileError):
    """A file of fitted values that cannot be used."""


class EntryError(SurveyError):
    """Values that cannot stand in one entry of a plan: pairs of key and problem."""

    def __init__(self, problems: Iterable[tuple[str, str]]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{key}: {problem}" if key else problem for key, problem in self.problems))


class UnknownNameError(SurveyError):
    """Names on the command line that the plan does not have."""


class SurveyWarning(UserWarning):
    """Something to know that does not stop the work; a command prints it on standard error."""


class OutputError(SurveyError):
    """A result that could not be written where it was wanted."""


MOST_COMPARED = 5_000
"""With how many names a misspelt one is compared letter by letter: a fraction of a second's work."""


def nearest(word: str, candidates: Iterable[str]) -> str | None:
    """The candidate that the user probably meant, if one is near.

    Examples
    --------
    >>> nearest("heigth_m", ["height_m", "base_m"])
    'height_m'
    >>> nearest("colour", ["height_m", "base_m"]) is None
    True
    """
    from difflib import get_close_matches  # noqa: PLC0415  only needed once something is wrong

    folded = word.casefold()
    by_folded = {candidate.casefold(): candidate for candidate in candidates}
    compared = list(by_folded)
    if len(compared) > MOST_COMPARED:  # a search makes up to a million names: those that begin alike will do
        from heapq import nlargest  # noqa: PLC0415

        compared = nlargest(MOST_COMPARED, compared, key=lambda candidate: _alike_at_the_start(folded, candidate))
    found = get_close_matches(folded, compared, n=1, cutoff=0.6)
    return by_folded[found[0]] if found else None


def _alike_at_the_start(one: str, other: str) -> int:
    """How many letters two words share before they differ."""
    return next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def did_you_mean(word: str, candidates: Iterable[str]) -> str:
    """A closing half sentence that names the nearest candidate, or nothing.

    Examples
    --------
    >>> did_you_mean("Nort fence", ["north fence"])
    '; did you mean "north fence"?'
    """
    near = nearest(word, candidates)
    return f'; did you mean "{near}"?' if near else ""


def why_unread(path: Path, error: OSError | ValueError) -> str:
    """What to say of a file that could not be read."""
    if isinstance(error, FileNotFoundError):
        return f"there is no such file{_near_file(path)}"
    if isinstance(error, IsADirectoryError):
        return "is a folder; name the file in it"
    return f"cannot be read: {getattr(error, 'strerror', None) or error}"


def _near_file(path: Path) -> str:
    """A closing half sentence that names the nearest file beside one that is not there, or nothing."""
    try:
        return did_you_mean(path.name, [other.name for other in path.parent.iterdir()])
    except (OSError, ValueError):
        return ""


def check_names(asked: Sequence[str], known: Sequence[str], *, file: str, what: str) -> None:
    """Refuse names that are not known, all of them in one message.

    Raises
    ------
    UnknownNameError
        Naming every unknown name and what is near it.
    """
    known_names = set(known)
    unknown = [name for name in dict.fromkeys(asked) if name not in known_names]
    if unknown:
        raise UnknownNameError(
            "\n".join(one_line(f'{file}: no {what} is named "{name}"{did_you_mean(name, known)}') for name in unknown)
        )

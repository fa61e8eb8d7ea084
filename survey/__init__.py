"""Decide where the radio gateway of a solar site goes, and check it afterwards.

Each command is a function here, see docs/python.md: ``survey.place(plan)``. A name is loaded when it is first used.
"""

__version__ = "0.1.0"

TYPE_CHECKING = False  # type checkers and editors take it for true; typing itself would triple the cost of the import
if TYPE_CHECKING:  # what `__getattr__` finds
    from survey.base.errors import FileError, PlanError, SurveyError, SurveyWarning, UnknownNameError
    from survey.library.assess import assess
    from survey.library.check import check
    from survey.library.compare import compare
    from survey.library.draw import draw
    from survey.library.dropouts import dropouts
    from survey.library.explain import explain
    from survey.library.export import export
    from survey.library.fit import fit
    from survey.library.form import form
    from survey.library.links import links
    from survey.library.network import network
    from survey.library.place import place
    from survey.library.report import report
    from survey.library.rounds import rounds
    from survey.library.sites import read_plan

__all__ = [
    "FileError",
    "PlanError",
    "SurveyError",
    "SurveyWarning",
    "UnknownNameError",
    "assess",
    "check",
    "compare",
    "draw",
    "dropouts",
    "explain",
    "export",
    "fit",
    "form",
    "links",
    "network",
    "place",
    "read_plan",
    "report",
    "rounds",
]


def __getattr__(name: str) -> object:
    """Load a name of the library from its file: a function from the file of its own name, an error from `base`."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415  `import survey` costs next to nothing

    home = "survey.base.errors" if name[0].isupper() else f"survey.library.{name.replace('read_plan', 'sites')}"
    found = globals()[name] = getattr(import_module(home), name)
    return found


def __dir__() -> list[str]:
    """Names that are there, and names that can be loaded."""
    return sorted({*globals(), *__all__})

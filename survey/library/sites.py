"""What the functions of the library share: plans and fits in, one kind of answer out, and options that are refused."""

from __future__ import annotations

import warnings
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from survey.base.errors import SurveyError, SurveyWarning, one_line
from survey.inputs import plan_file
from survey.inputs.plan import Plan
from survey.output.answers.values import Record
from survey.scene import Scene, corrected, scene_of

PlanSource = str | Path | Plan
"""A plan: the path of its file, or what `read_plan` returned."""
Names = str | Sequence[str]
"""One name, or several."""
TEXT_FILE = "plan"
"""What messages call a plan that was handed over as text."""


@dataclass(frozen=True, kw_only=True)
class Answer(ABC):
    """What a command finds, as data."""

    @property
    @abstractmethod
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""

    @abstractmethod
    def to_dict(self) -> Record:
        """Return what the command prints with ``--json``, as a dictionary."""


FitSource = str | Path | Answer
"""A fit: the path of the JSON file that `survey fit` wrote, or what `survey.fit` returned."""


def read_plan(path: str | Path | None = None, *, text: str | None = None, folder: str | Path = ".") -> Plan:
    r"""Read and check a plan, from a file or from text.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file in UTF-8.
    text : str, optional
        The TOML itself, instead of a file.
    folder : str or Path
        With text: where antenna files that it names are looked for.

    Returns
    -------
    Plan
        Frozen; `dataclasses.replace` makes a changed copy of it, or of one of its entries.

    Raises
    ------
    PlanError
        With every fault of the plan.
    TypeError
        Unless either a path or a text is given.

    Examples
    --------
    >>> table = 'tx_power_dbm = 8.0\nsensitivity_dbm = -94.0\n'
    >>> text = 'plan_version = 1\n[site]\nname = "yard"\n[radio]\nfrequency_mhz = 868.0\n'
    >>> text += f"[radio.inverter]\n{table}[radio.gateway]\n{table}"
    >>> read_plan(text=text + '[[inverter]]\nname = "i1"\nat = [0, 0]\nheight_m = 3\n').site.name
    'yard'
    """
    if (path is None) == (text is None):
        raise TypeError("read_plan takes the path of a plan, or text=, one of the two")
    if text is not None:
        return plan_file.plan_of(plan_file.parse_text(text, TEXT_FILE), file=TEXT_FILE, folder=Path(folder))
    assert path is not None
    return plan_file.read_plan(Path(path))


def scene_from(plan: PlanSource, *, fit: FitSource | None = None, **requirements: int | None) -> Scene:
    """Make a plan ready for computing, corrected by a fit, with some requirements in place of its own.

    Raises
    ------
    PlanError, FitError
        With every fault of the plan or of the fit.

    Warns
    -----
    SurveyWarning
        Where the fit was made for another site, or for an earlier state of the plan.
    """
    scene = scene_of(plan if isinstance(plan, Plan) else read_plan(plan))
    if fit is not None:
        from survey.measured.calibration import correction_from, read_fit  # noqa: PLC0415  only with a fit

        found = correction_from(fit.to_dict(), scene) if isinstance(fit, Answer) else read_fit(Path(fit), scene)
        correction, messages = found
        for message in messages:
            warn(one_line(message))
        scene = corrected(scene, correction)
    return scene.wanting(**requirements)


def names_in(names: Names) -> tuple[str, ...]:
    """Return one name or several as a tuple."""
    return (names,) if isinstance(names, str) else tuple(names)


def check_range(option: str, value: float | None, *, low: float, high: float = float("inf")) -> None:
    """Refuse a number that the command would refuse too; None is allowed.

    Raises
    ------
    SurveyError
        Naming the keyword, what was found and what is allowed.
    """
    if value is not None and not low <= value <= high:
        allowed = f"from {low:g} to {high:g}" if high < float("inf") else f"of {low:g} or more"
        raise SurveyError(f"{option}: {value} is out of range; give a number {allowed}")


def warn(message: str) -> None:
    """Warn whoever called the library; a command prints it on standard error."""
    warnings.warn(message, SurveyWarning, stacklevel=4)

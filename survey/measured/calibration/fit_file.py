"""A fit read back from the JSON that `survey fit` wrote."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import Fault, FitError, why_unread
from survey.base.files import read_up_to
from survey.inputs.fields import Number
from survey.measured.calibration.as_correction import fingerprint, receivers_by_name
from survey.measured.calibration.model import End, figures_of, units_of
from survey.scene import Scene
from survey.scene.correction import Correction, ReadShadow

MOST_BYTES = 200_000_000
"""Far more than the fit of any site has; a longer file is a mistake. A judgement."""
NUMBERS: dict[str, Number] = {
    "shadowing_db": Number(0.0, 30.0),
    "nearest_m": Number(0.0, 1e6),
    "farthest_m": Number(0.0, 1e6),
    "ends_sd_db": Number(0.0, 100.0),
}
"""What a fit may hold: limits that only a damaged file passes. A judgement, as are those below."""
PARTS: dict[str, tuple[str, Number]] = {
    "offset_db": ("value", Number(-1000.0, 1000.0)),
    "path_loss_exponent": ("value", Number(0.5, 8.0)),
}
"""Of figures with a standard error: where the figure stands, and its limits."""
LATER: dict[str, Number] = {
    "shadowing_alike": Number(0.0, 1.0),
    "correlation_m": Number(1e-3, 1e5),
    "ceiling": Number(0.0, 1.0),
    "fading_db": Number(0.0, 100.0),
    "readings": Number(0.0, 1e9),
    "missed": Number(0.0, 1e9),
}
"""What a file of before does not have, and its limits where it does."""
READ: dict[str, tuple[int, ...]] = {"from_m": (3,), "to_m": (3,), "off_db": (), "told": ()}
"""What a fit says of each link that was read, and the shape of it."""
LOSS = Number(0.0, 1000.0)
"""Of a material. [dB]"""
OWN_SHADOWING = Number(1e-3, 300.0)
"""Of a gateway. [dB]"""
CHANGE = Number(-1000.0, 1000.0)
"""Of an end. [dB]"""
MOST_VARIANCE = 1e6
"""Of a fitted figure: as uncertain as its limits are wide. [dB squared]"""
ROUNDING = 1e-4
"""How far the covariance of a sound file may be off, as a share: it is written with few decimals. A judgement. [-]"""


def read_fit(path: Path, scene: Scene) -> tuple[Correction, tuple[str, ...]]:
    """Read a file of fitted values for a site.

    Parameters
    ----------
    path : Path
        What `survey fit PLAN READINGS --json` printed, or `--out` wrote.
    scene : Scene
        The site for which it is to be used.

    Returns
    -------
    Correction, tuple of str
        And what the user should be warned of, such as a plan that has changed since.

    Raises
    ------
    FitError
        With every fault of the file.
    """
    return correction_from(_record(path), scene, file=str(path))


def correction_from(record: dict[str, Any], scene: Scene, *, file: str = "fit") -> tuple[Correction, tuple[str, ...]]:
    """Make a correction of a record, told by the name of its file; otherwise as `read_fit`."""
    faults = [Fault(file=file, key=key, problem=problem) for key, problem in _problems(record)]
    if faults:
        raise FitError(faults)
    units, unit = units_of(scene)
    fitted: dict[str, dict[str, Any]] = record["materials"]
    columns = {(bool(one.get("own")), name.casefold()): u for u, (name, one) in enumerate(fitted.items())}
    column = np.array([columns.get((one.own, one.name.casefold()), -1) for one in units] + [-1], dtype=np.int64)
    after_db = [float(one["loss_db"]) for one in fitted.values()]
    change_db = [after_db[c] - one.loss_db if c >= 0 else 0.0 for c, one in zip(column.tolist(), units, strict=False)]
    warnings = list(_warnings(record, scene, file))
    here = {(one.own, one.name.casefold()) for one in units}
    absent = [name for name, one in fitted.items() if (bool(one.get("own")), name.casefold()) not in here]
    if absent:
        warnings.append(f"{file}: fitted, but not in this plan: {', '.join(absent)}")
    ends: list[dict[str, Any]] = record["ends"]
    places, relays = set(scene.gateways_and_spots.names), scene.inverters.names
    names = {"receivers": relays}
    known = [End(kind=one["kind"], name=one["name"], names=names.get(one["kind"], (one["name"],))) for one in ends]
    correction = Correction(
        file=file,
        offset_db=float(record["offset_db"]["value"]),
        path_loss_exponent=float(record["path_loss_exponent"]["value"]),
        exponent_sd=float(record["path_loss_exponent"]["before_stderr"]),
        shadowing_db=float(record["shadowing_db"]),
        nearest_m=float(record["nearest_m"]),
        farthest_m=float(record["farthest_m"]),
        unit=column[unit],
        change_db=np.append(change_db, 0.0)[unit],
        covariance=np.array(record["covariance"], dtype=np.float64),
        deviation_db=np.array([float(one["deviation_db"]) for one in ends]),
        gateways=receivers_by_name(scene, record["gateways_read"], known),
        inverters=_kinds(ends, scene),
        unread_sd_db=float(record["ends_sd_db"]),
        read=_read(record, set(relays) - places),
        ceiling=float(record.get("ceiling", 1.0)),
        fade_db=float(record.get("fading_db", 0.0)),
        spreads=_spreads(record),
        readings=int(record.get("readings", 0)) + int(record.get("missed", 0)),
        day=str(record.get("fitted_on", ""))[:10],
    )
    return correction, tuple(warnings)


def _read(record: dict[str, Any], relays: set[str]) -> ReadShadow | None:
    """The links that were read, for those beside them; None in a file of before, which does not say where they are."""
    rows = record.get("residuals")
    if "shadowing_alike" not in record or record.get("plain") or not isinstance(rows, list):
        return None
    columns = {name: np.array([one[name] for one in rows], dtype=np.float64) for name in READ}
    spreads = _spreads(record)
    return ReadShadow(
        starts_m=columns["from_m"],
        ends_m=columns["to_m"],
        off_db=columns["off_db"] / np.array([spreads.get(one.get("gateway"), 1.0) for one in rows]),
        told=columns["told"],
        alike=float(record["shadowing_alike"]),
        correlation_m=float(record["correlation_m"]),
    ).both_ways(np.array([one.get("gateway") in relays for one in rows], dtype=bool))


def _spreads(record: dict[str, Any]) -> dict[str, float]:
    """Return the shadowing at gateways as a factor of that of all."""
    own: dict[str, float] = record.get("gateway_shadowing_db", {})
    return {name: float(sigma_db) / max(float(record["shadowing_db"]), 1e-3) for name, sigma_db in own.items()}


def _read_problems(record: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """What is wrong with the links that were read; a file of before has none."""
    own = record.get("gateway_shadowing_db", {})
    if not isinstance(own, dict):
        yield "gateway_shadowing_db", "is no table of figures by gateway"
        return
    for name, sigma_db in own.items():
        yield from _number(f'gateway_shadowing_db "{name}"', sigma_db, OWN_SHADOWING)
    if "shadowing_alike" not in record:
        return
    for name, kind in LATER.items():
        yield from _number(name, record.get(name), kind)
    try:
        rows = record["residuals"]
        shapes = {name: np.array([one[name] for one in rows], dtype=np.float64) for name in READ}
        fine = all(np.all(np.isfinite(one)) and one.shape == (len(rows), *READ[name]) for name, one in shapes.items())
        fine = fine and bool(np.all((shapes["told"] > 0.0) & (shapes["told"] <= 1.0)))
    except (KeyError, TypeError, ValueError, OverflowError):
        fine = False
    if not fine:
        yield "residuals", "is no list of links with from_m, to_m, off_db and told"


def _kinds(ends: list[dict[str, Any]], scene: Scene) -> dict[str, int]:
    """Which inverters have the radio figures of those that were read."""
    figures = dict(zip(scene.inverters.names, figures_of(scene.inverters), strict=True))
    found = [
        (e, End(kind="inverters", name=one["name"], names=()))
        for e, one in enumerate(ends)
        if one["kind"] == "inverters" and one["name"] in figures
    ]
    of = {figures[one.name]: e for e, one in found}
    return {name: of[own] for name, own in figures.items() if own in of}


def _warnings(record: dict[str, Any], scene: Scene, file: str) -> Iterator[str]:
    plan = scene.plan
    if record.get("site") not in (None, plan.site.name):
        yield f'{file}: was fitted to another site, "{record["site"]}", not to "{plan.site.name}"'
    elif record.get("plan_mark") != fingerprint(plan):
        yield f"{file}: radio figures or obstacles of {plan.file} have changed since it was fitted; fit anew"


def _record(path: Path) -> dict[str, Any]:
    """The JSON object in a file."""
    file = str(path)
    try:
        content = read_up_to(path, MOST_BYTES)
        if content is None:
            raise FitError([Fault(file=file, problem=f"is larger than {MOST_BYTES // 1_000_000} MB")])
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FitError([Fault(file=file, problem="is no text in UTF-8; give what survey fit wrote")]) from None
    except (OSError, ValueError) as error:
        raise FitError([Fault(file=file, problem=why_unread(path, error))]) from None
    import json  # noqa: PLC0415  start-up time

    try:
        record = json.loads(text)
    except (ValueError, RecursionError):
        record = None
    if not isinstance(record, dict):
        problem = "is not what survey fit wrote; run: survey fit PLAN READINGS --out FIT.json"
        raise FitError([Fault(file=file, problem=problem)])
    return record


def _problems(record: dict[str, Any]) -> Iterator[tuple[str, str]]:  # noqa: C901  one check after another
    """What is wrong with a record."""
    for name, kind in NUMBERS.items():
        yield from _number(name, record.get(name), kind)
    for name, (part, kind) in PARTS.items():
        value = record.get(name)
        yield from _number(name, value.get(part) if isinstance(value, dict) else None, kind)
    exponent = record.get("path_loss_exponent")
    if isinstance(exponent, dict):
        yield from _number("path_loss_exponent before_stderr", exponent.get("before_stderr"), Number(0.0, 1000.0))
    materials = record.get("materials")
    if not isinstance(materials, dict) or not all(isinstance(one, dict) for one in materials.values()):
        yield "materials", "is missing, or is no table of fitted losses"
        materials = {}
    for name, one in materials.items():
        yield from _number(f'materials "{name}"', one.get("loss_db"), LOSS)
    ends = record.get("ends")
    if not isinstance(ends, list) or not all(
        isinstance(one, dict) and isinstance(one.get("name"), str) and isinstance(one.get("kind"), str) for one in ends
    ):
        yield "ends", "is missing, or is no list of gateways and inverters"
        ends = []
    for one in ends:
        yield from _number(f'ends "{one["name"]}"', one.get("deviation_db"), CHANGE)
    places = record.get("gateways_read")
    if not isinstance(places, list) or not all(isinstance(one, str) for one in places):
        yield "gateways_read", "is missing, or is no list of names"
    yield from _read_problems(record)
    count = 2 + len(materials) + len(ends)
    try:
        covariance = np.array(record.get("covariance"), dtype=np.float64)
    except (TypeError, ValueError, OverflowError):  # the last for whole numbers beyond floating point
        covariance = np.zeros(0)
    if covariance.shape != (count, count) or not np.all(np.isfinite(covariance)):
        yield "covariance", f"is no table of {count} times {count} numbers, one for each fitted figure"
    elif not _is_covariance(covariance):
        yield "covariance", "is no covariance: it must be symmetric, with no negative variance and none over 1e6"


def _is_covariance(table: FloatArray) -> bool:
    """Whether a table of numbers can be the covariance of some figures."""
    variances = np.diagonal(table)
    if np.any(variances < 0) or np.any(variances > MOST_VARIANCE):
        return False
    scale = np.sqrt(np.outer(variances, variances))
    rounding = ROUNDING * (scale + 1.0)
    if np.any(np.abs(table) > scale + rounding) or np.any(np.abs(table - table.T) > rounding):
        return False
    least = -ROUNDING * len(table) * (1.0 + variances.max(initial=0.0))
    return bool(np.linalg.eigvalsh(table).min(initial=0.0) >= least)


def _number(name: str, value: object, kind: Number) -> Iterator[tuple[str, str]]:
    problem = "is missing" if value is None else kind.fault(value)
    if problem:
        yield name, problem

"""Arrays and inverters against the roofs above and below them: under, in or off them, and what would put it right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from survey.base.arrays import BoolArray, IntArray
from survey.decisions.inspection.carriers import MAX_BESIDE_M, MAX_NEAR_M, Carriers, Lie, carriers_of
from survey.decisions.inspection.edges import edge_warnings
from survey.decisions.inspection.slips import slips
from survey.decisions.inspection.wording import length, listed, quoted
from survey.geometry import lies_level, on_sheet
from survey.inputs.plan import Array
from survey.scene import Scene

GAP_M = 0.10
"""How high above a roof inverters are put: what the plan file takes as clear of a sheet."""
MAX_UNEVEN_M = 0.10
"""An array whose height over its roof varies by more runs at another slope: modules lie flat on it to a few cm."""
MAX_HIGH_M = 3.0
"""An array higher over a roof than this is meant to be there, on a frame of its own: a judgement."""
MIN_HIGH_M = 1.0
"""An array that stands so high over a roof all along is worth a question: frames are lower (common practice)."""
MAX_MAST_M = 30.0
"""An array higher than this over everything below it is mistyped: no roof that a plan leaves out is so high over one
that it has. A judgement."""
MAX_SINGLE_M = 1.0
"""The same for a single inverter: what stands farther off stands on something else."""
WALL_M = 0.30
"""A device this near to an upright sheet hangs on it."""
CHECK = "check first, bearing_deg, tilt_deg and the spacings"
"""Where no single slip explains it."""


@dataclass(frozen=True, kw_only=True)
class RoofFindings:
    """What looks wrong between inverters and roofs.

    Attributes
    ----------
    warnings : tuple of str
        The warnings.
    told : ndarray of bool, shape (inverters,)
        Inverters that one of the warnings is about.
    """

    warnings: tuple[str, ...]
    told: BoolArray


def roof_findings(scene: Scene) -> RoofFindings:
    """Hold every array, and every single inverter, against the roofs above and below it."""
    carriers = carriers_of(scene)
    warnings: list[str] = []
    told = np.zeros(len(scene.inverters), dtype=bool)
    if not len(carriers.sheets):
        return RoofFindings(warnings=(), told=told)
    places = np.array(scene.inverters.places)
    for array in scene.plan.arrays:
        lie = carriers.lie(array.positions_m())
        found = _array_warning(array, lie, carriers)
        if found:
            warnings.append(f'array "{array.name}": {found}')
            told |= places == array.name
        elif np.all(lie.is_good):
            warnings.extend(edge_warnings(array, lie, carriers))
    singles = np.flatnonzero(np.isin(places, [one.name for one in scene.plan.inverters]))
    lie = carriers.lie(scene.inverters.at_m[singles])
    warnings.extend(_single_warnings(scene, singles.tolist(), lie, carriers))
    told[singles[lie.is_near & ~lie.is_good]] = True
    warnings.extend(_beyond_warnings(scene, singles[~lie.is_over], carriers))
    return RoofFindings(warnings=tuple(warnings), told=told)


def _array_warning(array: Array, lie: Lie, carriers: Carriers) -> str:
    """Return what is wrong with an array and what mends it; nothing where it lies well, or far from every roof."""
    count = len(lie.gap_m)
    if np.all(lie.is_good) and _is_even(lie):
        return ""
    if not np.any(lie.is_near):
        mended = _mended(array, carriers, with_height=False)
        if mended:
            return f"{_state(lie, carriers)}; {mended}"
        return _too_high(array, lie, carriers) or _partly_off(array, lie, carriers) or _beside(array, carriers)
    shift_m = _shift_m(lie)
    if not np.any(lie.is_good) and np.all(lie.is_near) and _is_even(lie):
        where = "above it" if count > 1 else f"{length(GAP_M)} above it"
        return f"{_state(lie, carriers)}; {where} they would be at height_m = {array.height_m + shift_m:.2f}"
    mended = _mended(array, carriers, with_height=True)
    if np.all(lie.is_good):
        return f"{_state(lie, carriers)}; {mended}" if mended else ""
    return f"{_state(lie, carriers)}; {mended or CHECK}"


def _is_even(lie: Lie) -> bool:
    """Whether all are as high over their roofs, within what roofs and tapes allow."""
    return bool(np.ptp(lie.gap_m) <= MAX_UNEVEN_M)


def _shift_m(lie: Lie) -> float:
    """Return how much higher an array has to be to lie clear above its roof. [m]"""
    return GAP_M - float(np.nanmedian(lie.gap_m))


def _too_high(array: Array, lie: Lie, carriers: Carriers) -> str:
    """Return how high an array hangs over a roof, where that is all along as high and too high for a frame."""
    if not np.all(lie.is_over) or not _is_even(lie):
        return ""
    lowest_m = float(lie.gap_m.min())
    if not (MIN_HIGH_M < lowest_m < MAX_HIGH_M or lowest_m > MAX_MAST_M):
        return ""
    height_m = array.height_m + _shift_m(lie)
    return f"{_state(lie, carriers)}; {length(GAP_M)} above it they would be at height_m = {height_m:.2f}"


def _partly_off(array: Array, lie: Lie, carriers: Carriers) -> str:
    """Return what is wrong where some lie a little high over a roof, and the others beyond its edge."""
    is_low = lie.is_over & (lie.gap_m > 0) & (np.nan_to_num(lie.gap_m) <= MIN_HIGH_M)
    if np.all(lie.is_over) or not np.any(is_low) or np.any(lie.is_over & ~is_low):
        return ""
    mended = _mended(array, carriers, with_height=True)
    return f"{_state(lie, carriers)}; {mended or CHECK}"


def _beside(array: Array, carriers: Carriers) -> str:
    """Return how far beyond the edge of a roof an array lies that runs along its plane; nothing for all others."""
    points_m = array.positions_m()
    lie = carriers.lie(points_m, beyond_m=MAX_BESIDE_M)
    is_along = bool(np.all(lie.is_over) and len(set(lie.sheet.tolist())) == 1 and _is_even(lie))
    if not is_along or not 0 < float(lie.gap_m.min()) <= MIN_HIGH_M or np.any(carriers.lie(points_m).is_over):
        return ""
    sheet = int(lie.sheet[0])
    beyond_m = carriers.beyond_m(points_m, sheet)
    where = f"{len(points_m)} of {len(points_m)} lie over no roof, up to {length(beyond_m)} beyond the edge of"
    return f'{where} "{carriers.names[sheet]}"; {_mended(array, carriers, with_height=True) or CHECK}'


def _state(lie: Lie, carriers: Carriers) -> str:
    """Return how many lie how."""
    count, parts = len(lie.gap_m), []
    over = np.nan_to_num(lie.gap_m)
    below, high = lie.is_over & ~lie.is_in & (over < 0), lie.is_over & (over > MAX_NEAR_M)
    if np.all(lie.is_good):
        high = lie.is_good
    groups = ((below, "below"), (lie.is_in, "in"), (high, "above"))
    for chosen, word in groups:
        if chosen.any():
            far = "" if word == "in" else f"{_range(lie, chosen)} "
            parts.append(f"{int(chosen.sum())} of {count} lie {far}{word} {_roofs(lie, chosen, carriers)}")
    if not np.all(lie.is_over):
        parts.append(f"{int(np.sum(~lie.is_over))} of {count} lie over no roof")
    return ", ".join(parts)


def _range(lie: Lie, chosen: BoolArray) -> str:
    """Return the height of some over their roof, or the lowest and the highest."""
    low, high = (length(float(one)) for one in np.quantile(np.abs(lie.gap_m[chosen]), (0.0, 1.0)))
    even = np.ptp(lie.gap_m[chosen]) <= 0.02  # noqa: PLR2004  to the centimetre
    return length(float(np.median(np.abs(lie.gap_m[chosen])))) if even else f"{low} to {high}"


def _roofs(lie: Lie, chosen: BoolArray, carriers: Carriers) -> str:
    """Return the names of the roofs over or under some."""
    names = list(dict.fromkeys(carriers.names[i] for i in lie.sheet[chosen].tolist()))
    return quoted(names) if len(names) < 3 else listed([f'"{name}"' for name in names])  # noqa: PLR2004  a pair


def _mended(array: Array, carriers: Carriers, *, with_height: bool) -> str:
    """Return the first change of a key with which all of an array lie evenly above roofs."""
    for text, other in slips(array, carriers):
        lie = carriers.lie(other.positions_m())
        if np.all(lie.is_good) and _is_even(lie):
            return f"with {text} all lie {_range(lie, lie.is_good)} above {_roofs(lie, lie.is_good, carriers)}"
    if not with_height:
        return ""
    for text, other in slips(array, carriers):
        lie = carriers.lie(other.positions_m())
        if np.all(lie.is_near) and _is_even(lie):
            height_m = round(other.height_m + _shift_m(lie), 2)
            lie = carriers.lie(replace(other, height_m=height_m).positions_m())
            if np.all(lie.is_good):
                roofs = _roofs(lie, lie.is_good, carriers)
                return f"with {text} and height_m = {height_m:.2f} all lie {_range(lie, lie.is_good)} above {roofs}"
    return ""


def _single_warnings(scene: Scene, singles: list[int], lie: Lie, carriers: Carriers) -> Iterator[str]:
    """Yield single inverters close under a roof, or in it, roof by roof."""
    for word, chosen in (("below", lie.is_near & ~lie.is_good & ~lie.is_in), ("in", lie.is_in)):
        for name in dict.fromkeys(carriers.names[i] for i in lie.sheet[chosen].tolist()):
            own = chosen & np.array([i >= 0 and carriers.names[i] == name for i in lie.sheet.tolist()])
            numbers = np.flatnonzero(own).tolist()
            first = numbers[0]
            height_m = scene.inverters.at_m[singles[first], 2] + GAP_M - float(lie.gap_m[first])
            names = [scene.inverters.names[singles[i]] for i in numbers]
            far = "" if word == "in" else f"{_range(lie, own)} "
            which = "it" if len(names) == 1 else names[0]
            yield (
                f'{listed(names, "inverter")} {"lies" if len(names) == 1 else "lie"} {far}{word} "{name}"; above it '
                f"{which} would be at height_m = {height_m:.2f}"
            )


def _beyond_warnings(scene: Scene, singles: IntArray, carriers: Carriers) -> Iterator[str]:
    """Yield single inverters close above the plane of a roof, but beyond its edge; not those on a wall."""
    free = singles[[scene.inverters.names[i] not in scene.plan.attached for i in singles.tolist()]]
    points_m = scene.inverters.at_m[free]
    if not len(free):
        return
    lie = carriers.lie(points_m, beyond_m=MAX_SINGLE_M)
    on_wall = (on_sheet(points_m, scene.sheets, within_m=WALL_M) & ~lies_level(scene.sheets)).any(axis=1)
    chosen = lie.is_good & ~on_wall
    for sheet in dict.fromkeys(lie.sheet[chosen].tolist()):
        own = np.flatnonzero(chosen & (lie.sheet == sheet))
        beyond_m = carriers.beyond_m(points_m[own], sheet)
        names = [scene.inverters.names[i] for i in free[own].tolist()]
        up_to, move = ("", "it") if len(names) == 1 else ("up to ", "them")
        yield (
            f"{listed(names, 'inverter')} {'lies' if len(names) == 1 else 'lie'} over no roof, {up_to}"
            f'{length(beyond_m)} beyond the edge of "{carriers.names[sheet]}"; move {move}, or measure the roof again'
        )

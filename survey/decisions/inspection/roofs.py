"""Arrays and inverters against the roofs above and below them: under, in or off them, and what would put it right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from survey.base.arrays import BoolArray
from survey.decisions.inspection.carriers import MAX_NEAR_M, Carriers, Lie, carriers_of
from survey.decisions.inspection.edges import edge_warnings
from survey.decisions.inspection.wording import length, listed, quoted
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
        return _too_high(array, lie, carriers)
    shift_m = _shift_m(lie)
    if not np.any(lie.is_good) and np.all(lie.is_near) and _is_even(lie):
        where = "above it" if count > 1 else f"{length(GAP_M)} above it"
        return f"{_state(lie, carriers)}; {where} they would be at height_m = {array.height_m + shift_m:.2f}"
    mended = _mended(array, carriers, with_height=True)
    if np.all(lie.is_good):
        return f"{_state(lie, carriers)}; {mended}" if mended else ""
    return f"{_state(lie, carriers)}; {mended or 'check first, bearing_deg, tilt_deg and the spacings'}"


def _is_even(lie: Lie) -> bool:
    """Whether all are as high over their roofs, within what roofs and tapes allow."""
    return bool(np.ptp(lie.gap_m) <= MAX_UNEVEN_M)


def _shift_m(lie: Lie) -> float:
    """Return how much higher an array has to be to lie clear above its roof. [m]"""
    return GAP_M - float(np.nanmedian(lie.gap_m))


def _too_high(array: Array, lie: Lie, carriers: Carriers) -> str:
    """Return how high an array hangs over a roof, where that is all along as high and too high for a frame."""
    if not np.all(lie.is_over) or not _is_even(lie) or not MIN_HIGH_M < float(lie.gap_m.min()) < MAX_HIGH_M:
        return ""
    height_m = array.height_m + _shift_m(lie)
    return f"{_state(lie, carriers)}; {length(GAP_M)} above it they would be at height_m = {height_m:.2f}"


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
    variants = list(_variants(array, carriers))
    for text, other in variants:
        lie = carriers.lie(other.positions_m())
        if np.all(lie.is_good) and _is_even(lie):
            return f"with {text} all lie {_range(lie, lie.is_good)} above {_roofs(lie, lie.is_good, carriers)}"
    if not with_height:
        return ""
    for text, other in variants:
        lie = carriers.lie(other.positions_m())
        if np.all(lie.is_near) and _is_even(lie):
            height_m = round(other.height_m + _shift_m(lie), 2)
            lie = carriers.lie(replace(other, height_m=height_m).positions_m())
            if np.all(lie.is_good):
                roofs = _roofs(lie, lie.is_good, carriers)
                return f"with {text} and height_m = {height_m:.2f} all lie {_range(lie, lie.is_good)} above {roofs}"
    return ""


def _variants(array: Array, carriers: Carriers) -> Iterator[tuple[str, Array]]:
    """Yield slips that are easily made, undone: bearing, slope, the end a row begins at, x and y."""
    about, right, left = ((array.bearing_deg + turn) % 360.0 for turn in (180.0, 90.0, 270.0))
    yield f"bearing_deg = {about:g}", replace(array, bearing_deg=about)
    lie = carriers.lie(array.positions_m()[:1])
    slopes = [carriers.slope_deg(int(lie.sheet[0]))] if lie.is_over[0] else []
    for tilt_deg in dict.fromkeys([*(round(one, 1) for one in slopes), 0.0]):
        yield f"tilt_deg = {tilt_deg:g}", replace(array, tilt_deg=tilt_deg)
        turned = replace(array, tilt_deg=tilt_deg, bearing_deg=about)
        yield f"bearing_deg = {about:g} and tilt_deg = {tilt_deg:g}", turned
    end_m = np.array(array.first) + (array.row_lengths[0] - 1) * (array.spacing_m or 0.0) * array.along[:2]
    first = (round(float(end_m[0]), 2), round(float(end_m[1]), 2))
    text = f"first = [{first[0]:g}, {first[1]:g}] and bearing_deg = {about:g}"
    yield text, replace(array, first=first, bearing_deg=about)
    for bearing_deg in (right, left):
        yield f"bearing_deg = {bearing_deg:g}", replace(array, bearing_deg=bearing_deg)
    x, y = array.first
    if x != y:
        yield f"first = [{y:g}, {x:g}]", replace(array, first=(y, x))


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

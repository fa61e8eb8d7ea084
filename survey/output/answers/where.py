"""Where a spot is, as a person on the site finds it."""

from __future__ import annotations

import numpy as np

from survey.base.units import compass_word
from survey.inputs.plan import Plan, Search, Spot


def entry_of(plan: Plan, name: str) -> Spot | Search:
    """Return the entry of the plan that a gateway or a spot comes from: by its name, or by that of its search."""
    entries: list[Spot | Search] = [*plan.gateways, *plan.spots, *plan.searches]
    return next(entry for entry in entries if entry.name == name)


def where_words(entry: Spot | Search, at_m: tuple[float, float, float]) -> str:
    """Return the position of a spot: along its search line where it has one, then from the zero point, then its height.

    Parameters
    ----------
    entry : Spot or Search
        The entry of the plan that the spot belongs to.
    at_m : tuple of three floats
        Position: east, north, up. [m]

    Examples
    --------
    >>> fence = Search(name="south fence", along=((-20.0, -26.0), (36.0, -26.0)), heights_m=(3.0,))
    >>> where_words(fence, (8.0, -26.0, 3.0))
    "on south fence, 28 m from its west end; 8.00 m east, 26.00 m south of the plan's zero point, 3.00 m high"
    """
    east_m, north_m, height_m = at_m
    along = _along_words(entry, east_m, north_m) if isinstance(entry, Search) else ""
    position = position_words(east_m, north_m, height_m)
    return f"{along}; {position}" if along else position


def position_words(east_m: float, north_m: float, height_m: float) -> str:
    """Return a position in words.

    Examples
    --------
    >>> position_words(-1.5, 0.0, 2.0)
    "1.50 m west of the plan's zero point, 2.00 m high"
    >>> position_words(0.0, 0.0, 2.0)
    "at the plan's zero point, 2.00 m high"
    """
    east_m, north_m = round(east_m, 2), round(north_m, 2)
    parts = [f"{abs(east_m):.2f} m {'east' if east_m > 0 else 'west'}"] if east_m else []
    parts += [f"{abs(north_m):.2f} m {'north' if north_m > 0 else 'south'}"] if north_m else []
    where = f"{', '.join(parts)} of" if parts else "at"
    return f"{where} the plan's zero point, {height_m:.2f} m high"


def _along_words(search: Search, east_m: float, north_m: float) -> str:
    """Return how far along its line a point of a search lies, from the nearer end; nothing for an area or a ring."""
    if search.along is None or search.along[0] == search.along[-1]:
        return ""
    corners_m = np.array(search.along)
    legs_m = np.diff(corners_m, axis=0)
    lengths_m = np.hypot(*legs_m.T)
    share = np.sum((np.array([east_m, north_m]) - corners_m[:-1]) * legs_m, axis=1) / np.maximum(lengths_m, 1e-9) ** 2
    share = np.clip(share, 0.0, 1.0)
    off_m = np.hypot(*(corners_m[:-1] + share[:, None] * legs_m - [east_m, north_m]).T)
    leg = int(np.argmin(off_m))
    here_m, whole_m = float(lengths_m[:leg].sum() + share[leg] * lengths_m[leg]), float(lengths_m.sum())
    is_start = here_m <= whole_m / 2.0
    end, other = (corners_m[0], corners_m[-1]) if is_start else (corners_m[-1], corners_m[0])
    distance_m = round(here_m if is_start else whole_m - here_m, 1)
    word = compass_word(*(end - other).tolist())
    return (
        f"on {search.name}, at its {word} end"
        if not distance_m
        else f"on {search.name}, {distance_m:g} m from its {word} end"
    )

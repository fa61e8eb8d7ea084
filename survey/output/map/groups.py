"""Inverters that stand so close together on a map that their marks would hide each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.budget import STATES
from survey.output.map.labels import Label
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Inverters drawn with one mark for each state among them.

    Attributes
    ----------
    members : tuple of int
        Which inverters.
    at_m : ndarray of float, shape (2,)
        Their middle. [m]
    """

    members: tuple[int, ...]
    at_m: FloatArray


def groups_of(at_m: FloatArray, *, reach_m: float) -> list[Group]:
    """Gather points that lie within a distance of the first of their group, in their order.

    Parameters
    ----------
    at_m : ndarray of float, shape (points, 2)
        Points. [m]
    reach_m : float
        How far the marks of two groups must be apart at least. [m]

    Examples
    --------
    >>> [one.members for one in groups_of(np.array([[0.0, 0.0], [1.0, 0.0], [50.0, 0.0]]), reach_m=5.0)]
    [(0, 1), (2,)]
    """
    firsts: list[FloatArray] = []
    members: list[list[int]] = []
    for i, point_m in enumerate(at_m):
        near = np.flatnonzero(np.hypot(*(np.array(firsts).reshape(-1, 2) - point_m).T) <= reach_m)
        if len(near):
            members[int(near[0])].append(i)
        else:
            firsts.append(point_m)
            members.append([i])
    return [Group(members=tuple(one), at_m=at_m[one].mean(axis=0)) for one in members]


def states_in(group: Group, state: NDArray[np.int8]) -> list[tuple[int, int]]:
    """Return each state in a group with the number of its inverters, the worst first."""
    found = state[list(group.members)]
    return [(number, int(np.sum(found == number))) for number in range(len(STATES)) if np.any(found == number)]


def group_labels(scene: Scene, groups: Sequence[Group], state: NDArray[np.int8] | None) -> list[Label]:
    """Return what stands beside each group: its array or its first inverter, and how many are in which state.

    Groups with inverters that fail come first, then those with inverters that are marginal.
    """
    places, labels = scene.inverters.places, []
    for group in groups:
        own = list(dict.fromkeys(places[i] for i in group.members))
        name = own[0] if len(own) == 1 else f"{own[0]} +{len(own) - 1}"
        counts = f"{len(group.members)}"
        worst = 0
        if state is not None:
            found = states_in(group, state)
            worst = found[0][0]
            counts = ", ".join(f"{STATES[number]} {count}" for number, count in found)
        at = (float(group.at_m[0]), float(group.at_m[1]))
        labels.append((worst, Label(text=f"{name}: {counts}", kind="count", at=at)))
    return [label for _, label in sorted(labels, key=lambda one: one[0])]

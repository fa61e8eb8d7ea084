"""A choice of gateways: who talks to whom, what it serves, and what is proven about it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.base.arrays import IntArray

EQUAL = 1e-6
"""Expected numbers served and margins [dB] that differ by less count as equal."""
PROVEN = 1e-4
"""How near to its bound an expected number must be to count as proven: solvers work to 1e-6 for each inverter."""


@dataclass(frozen=True, kw_only=True)
class Assignment:
    """Every inverter's gateway where some spots have one, and what that gives.

    Attributes
    ----------
    spots : tuple of int
        The spots with a gateway.
    gateway_of : ndarray of int, shape (inverters,)
        The spot that each inverter reports to; -1 for none.
    served : int
        Inverters that hold there.
    expected_served : float
        Sum of the chances there.
    worst_margin_db : float
        The smallest margin; -inf where an inverter has no gateway. [dB]
    """

    spots: tuple[int, ...]
    gateway_of: IntArray
    served: int
    expected_served: float
    worst_margin_db: float

    @property
    def key(self) -> tuple[int, float, float]:
        """What sets of spots are ranked by."""
        return (self.served, round(self.expected_served, 6), round(self.worst_margin_db, 6))


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Some spots with a gateway each.

    Attributes
    ----------
    chosen : tuple of int
        The spots, the one whose loss would cost most first.
    gateway_of : ndarray of int, shape (inverters,)
        The spot that each inverter talks to; -1 where no chosen spot has a route to it or takes it.
    served : int
        Inverters that hold at their gateway.
    expected_served : float
        Sum of the reliabilities of all inverters at their gateways.
    worst_margin_db : float
        The smallest margin of an inverter at its gateway; -inf where one has no gateway. [dB]
    bound_served : int
        No choice of so many gateways serves more; the proof may not have got down to what is true.
    bound_expected : float
        None that serves `served` inverters has a greater expected number served.
    proven_worst : bool
        Whether none that equals this one in both has a better worst margin.
    seconds : float
        How long it took. [s]
    """

    chosen: tuple[int, ...]
    gateway_of: IntArray
    served: int
    expected_served: float
    worst_margin_db: float
    bound_served: int
    bound_expected: float
    proven_worst: bool
    seconds: float

    @property
    def proven_served(self) -> bool:
        """Whether no choice of so many gateways serves more."""
        return self.served >= self.bound_served

    @property
    def proven(self) -> bool:
        """Whether, besides, none that serves as many has a greater expected number, but for rounding."""
        return self.proven_served and self.expected_served >= self.bound_expected - PROVEN

    @property
    def gap(self) -> int:
        """How many inverters more another choice might serve, at most."""
        return max(0, self.bound_served - self.served)

"""What a remedy is, and how remedies are ranked."""

from __future__ import annotations

from dataclasses import dataclass

WORTH_DB = 0.5
"""A change that gains less than this and leaves the state as it is does nothing that anybody could measure. [dB]"""
EFFORT = {
    "outside": 0,
    "move": 0,
    "raise": 0,
    "cable": 2,
    "other spot": 3,
    "relay": 4,
    "one more": 5,
    "obstacle": 6,
}
"""What a kind of remedy costs people, from least to most: a judgement, not a measurement."""
OUT_OF_REACH = 1
"""What a gateway that is hung elsewhere costs people where that takes a ladder: a judgement."""
IN_REACH_M = 2.0
"""What hangs higher than this takes a ladder. A judgement. [m]"""
CAUTIONS = {
    "height": "Work at height: follow the local rules. Have the ladder held; wear a harness on a roof.",
    "mains": "A gateway needs mains: only a licensed electrician may connect it.",
    "cable": (
        "Seal every hole in a roof or a wall. Earth an outdoor antenna and its cable, and protect them against "
        "lightning, as the local rules require."
    ),
    "building": (
        "Ask the person responsible for an obstacle before you move or remove it. Never remove a part of a building "
        "without their consent. Only an electrician may move anything near mains."
    ),
}
"""The safety rules, by the word that a remedy carries. From docs/cautions.md."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """Another inverter whose state changes: index into `budget.STATES` before and after."""

    inverter: str
    before: int
    after: int


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """Something to do, and what it would do.

    Attributes
    ----------
    kind : str
        One of `EFFORT`.
    action : str
        What to do, in words.
    gain_db, margin_db : float
        By how much the margin grows, and to what. [dB]
    reliability : float
        Chance that the link then works. [-]
    state : int
        Index into `budget.STATES`.
    changes : tuple of Change
        The other inverters whose state changes, by their best link.
    cautions : tuple of str
        Words of `CAUTIONS`.
    about : str
        Name of the spot, the relay or the obstacle that it is about; empty where that is the gateway itself.
    at_m : tuple of three floats or None
        Where the antenna then is. [m]
    cable_loss_db : float
        What more cable costs; counted in the gain. [dB]
    state_before, reliability_before : int, float
        What the link is worth today, and its chance.
    """

    kind: str
    action: str
    gain_db: float
    margin_db: float
    reliability: float
    state: int
    changes: tuple[Change, ...]
    cautions: tuple[str, ...]
    about: str = ""
    at_m: tuple[float, float, float] | None = None
    cable_loss_db: float = 0.0
    state_before: int = 0
    reliability_before: float = 0.0

    @property
    def is_worth_it(self) -> bool:
        """Whether it lifts the state, or the margin by something that could be measured and the chance with it."""
        if self.state != self.state_before:
            return self.state > self.state_before
        return self.gain_db >= WORTH_DB and self.reliability >= self.reliability_before

    @property
    def helped(self) -> tuple[Change, ...]:
        """Other inverters that come to a better state."""
        return tuple(one for one in self.changes if one.after > one.before)

    @property
    def harmed(self) -> tuple[Change, ...]:
        """Other inverters that come to a worse state."""
        return tuple(one for one in self.changes if one.after < one.before)

    @property
    def effort(self) -> int:
        """What it costs people: of its kind, and more where a gateway is then out of reach."""
        effort = EFFORT[self.kind]
        is_high = self.at_m is not None and self.at_m[2] > IN_REACH_M
        return OUT_OF_REACH if effort < OUT_OF_REACH and is_high else effort

    @property
    def rank(self) -> tuple[float, ...]:
        """Sorts remedies: by state, then whether more inverters lose than win by it, then by effort, then by gain."""
        net = len(self.helped) - len(self.harmed)
        return (-self.state, net < 0, self.effort, -self.gain_db)

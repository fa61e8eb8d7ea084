"""Several gateways: which spots, who talks to which, and proof that no other choice serves more.

Only arrays: what an inverter's link to a spot is worth, by relays or not, is worked out before.
"""

from survey.siting.choice import Choice
from survey.siting.choosing import choose, choose_each
from survey.siting.fewest import Fewest, fewest

__all__ = ["Choice", "Fewest", "choose", "choose_each", "fewest"]

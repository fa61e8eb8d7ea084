"""Several gateways: which spots, who talks to which, and proof that no other choice serves more.

Only arrays: what an inverter's link to a spot is worth, by relays or not, is worked out before. Choosing stands in
`choosing` and `fewest`, so that whoever needs the matrix alone loads little.
"""

from survey.siting.choice import Assignment
from survey.siting.matrix import SAME_DECIMALS, CoverageMatrix

__all__ = ["SAME_DECIMALS", "Assignment", "CoverageMatrix"]

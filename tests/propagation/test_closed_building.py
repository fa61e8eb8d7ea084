"""A building closed all round lets nothing out but through its sheets, by whatever way."""

import numpy as np
import pytest
from one_link import closed_building, link

from survey.propagation import Way


@pytest.mark.parametrize("inside", [(6.0, 3.0), (1.0, 7.0), (11.0, 1.5), (0.5, 4.0)])
@pytest.mark.parametrize("outside", [((-10.0, 4.0), 1.5), ((20.0, -7.0), 3.5), ((-2.8, 1.6), 3.1), ((6.0, 30.0), 9.0)])
def test_nothing_leaks_out_of_a_closed_building(inside, outside):
    place, height_m = outside
    found = link(*closed_building(26.0), ends=(place, inside), heights_m=(height_m, 1.8))
    assert found.straight_db[0, 0] == pytest.approx(26.0, abs=9.0), "one sheet, and perhaps an edge grazed"
    assert not np.any(found.around_db[: Way.REFLECTED] <= 26.0)
    assert not np.any(found.around_db[Way.REFLECTED] <= 21.2), "three reflected paths at most, each through a sheet"
    assert found.obstacle_loss_db[0, 0] > 20.0

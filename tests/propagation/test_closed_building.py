"""A building closed all round lets nothing out but through its sheets, by whatever way."""

import numpy as np
import pytest
from test_around import link, way_db

from survey.plan import Roof, Wall


def building(loss_db):
    """12 by 8 m, walls 3 m high under a roof with its ridge along the middle; every joint closed."""
    sides = [((0, 0), (12, 0)), ((12, 0), (12, 8)), ((12, 8), (0, 8)), ((0, 8), (0, 0))]
    walls = [Wall(name=f"wall {k}", along=side, height_m=3.0, loss_db=loss_db) for k, side in enumerate(sides)]
    planes = {
        "south": ((0, 0, 3), (12, 0, 3), (12, 4, 4.5), (0, 4, 4.5)),
        "north": ((0, 8, 3), (12, 8, 3), (12, 4, 4.5), (0, 4, 4.5)),
        "west": ((0, 0, 3), (0, 8, 3), (0, 4, 4.5)),
        "east": ((12, 0, 3), (12, 8, 3), (12, 4, 4.5)),
    }
    return [*walls, *(Roof(name=name, corners=plane, loss_db=loss_db) for name, plane in planes.items())]


@pytest.mark.parametrize("inside", [(6.0, 3.0), (1.0, 7.0), (11.0, 1.5), (0.5, 4.0)])
@pytest.mark.parametrize("outside", [((-10.0, 4.0), 1.5), ((20.0, -7.0), 3.5), ((-2.8, 1.6), 3.1), ((6.0, 30.0), 9.0)])
def test_nothing_leaks_out_of_a_closed_building(inside, outside):
    place, height_m = outside
    found = link(*building(26.0), ends=(place, inside), heights_m=(height_m, 1.8))
    assert found.straight_db[0, 0] == pytest.approx(26.0, abs=9.0), "one sheet, and perhaps an edge grazed"
    for way in found.around_db:
        assert np.isnan(way_db(found, way)) or way_db(found, way) > 26.0
    assert found.obstacle_loss_db[0, 0] > 20.0

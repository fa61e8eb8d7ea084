"""Nothing jumps as something moves by a centimetre: at most 1.5 dB where things happen."""

import numpy as np
import pytest
from around_site import ENDS, AroundSite, loss_db


def saw_tooth():
    site = AroundSite()
    for x in (-9.0, -3.0, 3.0):
        site.roof((x, -8.0, 6.0), (x + 6.0, -8.0, 4.0), (x + 6.0, 8.0, 4.0), (x, 8.0, 6.0))
        site.wall((x, -8.0), (x, 8.0), height_m=2.0, base_m=4.0)
    return site


def lean_to():
    site = AroundSite().shed(0.0, 12.0, -6.0, 6.0, height_m=4.0, loss_db=26.0)
    return site.roof((-6.0, -6.0, 2.6), (0.0, -6.0, 3.4), (0.0, 6.0, 3.4), (-6.0, 6.0, 2.6), loss_db=26.0)


def gable():
    site = AroundSite().roof((-5.0, -6.0, 3.0), (0.0, -6.0, 5.0), (0.0, 6.0, 5.0), (-5.0, 6.0, 3.0))
    site.roof((5.0, -6.0, 3.0), (0.0, -6.0, 5.0), (0.0, 6.0, 5.0), (5.0, 6.0, 3.0))
    return site.wall((-5.0, -6.0), (-5.0, 6.0)).wall((5.0, -6.0), (5.0, 6.0))


# What moves, by a number; the ends; and from where to where the number goes, around where something happens.
SCANS = {
    "a container across the line": (lambda t: AroundSite().box(0.5, t, bearing_deg=3.0), lambda _: ENDS, -3.3, -2.9),
    "a container rising": (lambda t: AroundSite().box(0, 0, height_m=t), lambda _: ENDS, 1.2, 1.7),
    "a container before another": (lambda t: AroundSite().box(-5, t).box(5, 0), lambda _: ENDS, -3.2, -2.9),
    "saw-tooth roof": (lambda _: saw_tooth(), lambda t: ((-20.0, 0.3, t), (15.0, 1.0, 5.1)), 7.6, 7.8),
    "joint of a lean-to": (lambda _: lean_to(), lambda t: ((-14.0, 0.3, t), (24.0, 1.0, 2.0)), 3.9, 4.05),
    "over a ridge": (lambda _: gable(), lambda t: ((-12.0, 0.3, t), (15.0, 1.0, 2.0)), 7.25, 7.5),
    "concrete wall before a container": (
        lambda t: AroundSite().box(5, 0).wall((-2.0, t), (-2.0, t + 8.0), loss_db=12.0),
        lambda _: ENDS,
        -0.2,
        0.2,
    ),
    "end of a wall": (
        lambda t: AroundSite().wall((-3.0, -20.0), (-3.0, t)).wall((4.0, -1.0), (4.0, 20.0), height_m=2.5),
        lambda _: ENDS,
        -0.3,
        0.3,
    ),
    "fence top": (
        lambda t: AroundSite().box(5, 0).wall((-4.0, -8.0), (-4.0, 8.0), height_m=t, loss_db=4.0),
        lambda _: ENDS,
        1.9,
        2.3,
    ),
    "clad sheet outside a clad shed": (
        lambda t: (
            AroundSite()
            .shed(-18.0, -10.0, -4.0, 4.0, height_m=3.5, loss_db=22.0)
            .wall((0.0, t), (0.0, t + 6.0), loss_db=22.0)
        ),
        lambda _: ENDS,
        -0.1,
        0.1,
    ),
    "posts": (
        lambda _: AroundSite().wall((0.0, -0.1), (0.0, 0.1), height_m=4.0).wall((0.0, 1.9), (0.0, 2.1), height_m=4.0),
        lambda t: ((-15.0, t, 1.5), (15.0, t, 1.5)),
        -0.3,
        0.3,
    ),
}


@pytest.mark.parametrize("scan", SCANS)
def test_in_steps_of_a_centimetre(scan):
    site_of, ends_of, first, last = SCANS[scan]
    losses = np.array([loss_db(site_of(t), ends_of(t)) for t in np.arange(first, last, 0.01) + 0.00037])
    assert np.ptp(losses) > 0.1, "something happens"
    assert np.abs(np.diff(losses)).max() < 1.5

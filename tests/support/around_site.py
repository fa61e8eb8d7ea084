"""Sites put together from walls, boxes and roofs, for the rule of ways around alone."""

import math
from itertools import pairwise

import numpy as np

from survey.propagation import Way
from survey.propagation.around import Polarisation, bodies_of, ways_around

STEEL_DB = 60.0
LIGHT_M_MHZ = 299.792458


class AroundSite:
    """Sheets in the order in which they are added; each call gives an obstacle of its own."""

    def __init__(self):
        self.outlines_m, self.loss_db, self.obstacle, self.solid = [], [], [], []

    def _add(self, outlines_m, loss_db, *, one_solid):
        obstacle = self.obstacle[-1] + 1 if self.obstacle else 0
        solid = self.solid[-1] + 1 if self.solid else 0
        for number, outline_m in enumerate(outlines_m):
            self.outlines_m.append(np.array(outline_m, dtype=float))
            self.loss_db.append(loss_db)
            self.obstacle.append(obstacle)
            self.solid.append(solid if one_solid else solid + number)
        return self

    def wall(self, *points, height_m=3.0, base_m=0.0, loss_db=STEEL_DB):
        top_m = base_m + height_m
        sheets = [[(*a, base_m), (*b, base_m), (*b, top_m), (*a, top_m)] for a, b in pairwise(points)]
        return self._add(sheets, loss_db, one_solid=False)

    def box(self, x, y, *, length_m=6.06, width_m=2.44, height_m=2.59, bearing_deg=0.0, base_m=0.0, loss_db=STEEL_DB):
        """`length_m` runs along the bearing, clockwise from +y."""
        t = math.radians(bearing_deg)
        (ux, uy), (vx, vy) = (math.sin(t), math.cos(t)), (math.cos(t), -math.sin(t))
        a, b = length_m / 2.0, width_m / 2.0
        flat = [
            (x + p * a * ux + q * b * vx, y + p * a * uy + q * b * vy) for p, q in ((1, 1), (1, -1), (-1, -1), (-1, 1))
        ]
        low, high = [(*p, base_m) for p in flat], [(*p, base_m + height_m) for p in flat]
        sides = [[low[i - 1], low[i], high[i], high[i - 1]] for i in range(4)]
        return self._add([*sides, low, high], loss_db, one_solid=True)

    def roof(self, *corners, loss_db=STEEL_DB):
        return self._add([corners], loss_db, one_solid=False)

    def shed(self, x0, x1, y0, y1, *, height_m, loss_db=STEEL_DB, short_m=0.0):
        ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
        self.wall(*ring, height_m=height_m - short_m, loss_db=loss_db)
        return self.roof(*[(*p, height_m) for p in ring[:4]], loss_db=loss_db)

    def changed(self, change):
        """The same with every point sent through a function."""
        self.outlines_m = [np.array([change(p) for p in outline_m]) for outline_m in self.outlines_m]
        return self

    def bodies(self):
        return bodies_of(self.outlines_m, loss_db=self.loss_db, obstacle=self.obstacle, solid=self.solid)


ENDS = ((-15.0, 0.0, 1.5), (15.0, 0.0, 1.5))


def ways(site, ends=ENDS, *, frequency_mhz=868.0, polarisation=Polarisation.UNKNOWN):
    bodies = site.bodies() if isinstance(site, AroundSite) else site
    return ways_around(
        bodies,
        np.array([ends[0]], dtype=float),
        np.array([ends[1]], dtype=float),
        wavelength_m=LIGHT_M_MHZ / frequency_mhz,
        polarisation=polarisation,
    )


def straight_through_db(site, ends=ENDS):
    """Losses of all sheets that the straight line meets, by plain geometry."""
    start, end = (np.array(one, dtype=float) for one in ends)
    total = 0.0
    for outline, loss_db in zip(site.outlines_m, site.loss_db, strict=True):
        normal = np.cross(outline[1] - outline[0], outline[2] - outline[0])
        one, other = (start - outline[0]) @ normal, (end - outline[0]) @ normal
        if one * other >= 0:
            continue
        at = start + one / (one - other) * (end - start)
        sides = [np.cross(outline[i] - outline[i - 1], at - outline[i - 1]) @ normal for i in range(len(outline))]
        if min(sides) >= 0 or max(sides) <= 0:
            total += loss_db
    return total


def loss_db(site, ends=ENDS, **more):
    """What all that stands there costs: straight through and the ways around, by power."""
    found = ways(site, ends, **more)
    power = 10.0 ** (-(straight_through_db(site, ends) + found.grazed_db[0]) / 10.0)
    power += np.nansum(10.0 ** (-found.loss_db[0] / 10.0))
    return float(-10.0 * np.log10(power))


def way_db(site, way: Way, ends=ENDS, **more):
    return float(ways(site, ends, **more).loss_db[0, way])

"""A scene's sheets made ready for the rule of ways around."""

from __future__ import annotations

import numpy as np

from survey.propagation.around.bodies import Bodies, bodies_of
from survey.propagation.penetration import slab_by_angle
from survey.scene import Scene

STEPS = 65
"""Cosines of incidence at which slabs are tabulated; between two the loss is interpolated."""


def bodies_of_scene(scene: Scene) -> Bodies:
    """Return a site as the rule for paths around takes it, made once for each scene."""
    kept: Bodies | None = scene.__dict__.get("_around_bodies")
    if kept is None:
        kept = scene_bodies(scene)
        scene.__dict__["_around_bodies"] = kept
    return kept


def scene_bodies(scene: Scene) -> Bodies:
    """Make a site ready for the rule: each box one solid, all other sheets one by one.

    Parameters
    ----------
    scene : Scene
        The site.

    Returns
    -------
    Bodies
        Its sheets in the scene's order.
    """
    sheets, obstacles = scene.sheets, scene.obstacles
    outlines_m = []
    solid: list[int] = []
    last = -1
    for s in range(len(sheets)):
        corners_m = sheets.corners_m[s]
        again = [i for i in range(1, len(corners_m)) if np.array_equal(corners_m[i], corners_m[0])]
        outlines_m.append(corners_m[: again[0]] if again else corners_m)
        owner = int(sheets.owner[s])
        if not solid:
            solid.append(0)
        else:
            solid.append(
                solid[-1] if obstacles.entries[owner].closed_m() is not None and owner == last else solid[-1] + 1
            )
        last = owner
    kinds = sorted({one for one in obstacles.slabs if one is not None})
    cosines = np.linspace(0.0, 1.0, STEPS)
    tables = []
    for kind in kinds:
        steps, losses_db = slab_by_angle(*kind, frequency_mhz=scene.plan.radio.frequency_mhz)
        tables.append(np.interp(cosines, steps, losses_db))
    rows = np.array([-1 if one is None else kinds.index(one) for one in obstacles.slabs], dtype=np.int64)
    plants = [
        (np.asarray(volume.footprint_m), float(volume.base_m), float(volume.top_m), float(loss_db), float(most_db))
        for one, loss_db, most_db in zip(obstacles.entries, obstacles.loss_db, obstacles.most_loss_db, strict=True)
        if (volume := one.volume()) is not None
    ]
    return bodies_of(
        outlines_m,
        loss_db=obstacles.loss_db[sheets.owner].tolist(),
        obstacle=sheets.owner.tolist(),
        solid=solid,
        table=rows[sheets.owner].tolist() if len(rows) else (),
        table_db=np.array(tables) if tables else None,
        plants=plants,
    )

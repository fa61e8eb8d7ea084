"""The same loss sums by general libraries, for the table of ratios. They trace in single precision."""

import numpy as np

LOSS_DB = 6.0
STEP_M = 1e-4
"""How far behind a hit the next ray starts."""


def triangles_m(plan):
    """Two triangles a wall, shape (triangles, 3, 3). [m]"""
    found = []
    for wall in plan.obstacles:
        (ax, ay), (bx, by) = wall.along
        a, b, c, d = (ax, ay, 0), (bx, by, 0), (bx, by, wall.height_m), (ax, ay, wall.height_m)
        found += [[a, b, c], [a, c, d]]
    return np.array(found, dtype=np.float64)


def _rays(starts_m, ends_m):
    origins_m = np.repeat(starts_m, len(ends_m), axis=0)
    return origins_m, np.tile(ends_m, (len(starts_m), 1)) - origins_m


def embree_through_trimesh(plan):
    """Loss sums of all lines by trimesh, all hits of a ray."""
    import trimesh
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    corners_m = triangles_m(plan)
    faces = np.arange(3 * len(corners_m)).reshape(-1, 3)
    tracer = RayMeshIntersector(trimesh.Trimesh(corners_m.reshape(-1, 3), faces, process=False))

    def losses_db(starts_m, ends_m):
        origins_m, along_m = _rays(starts_m, ends_m)
        _, ray, at_m = tracer.intersects_id(origins_m, along_m, multiple_hits=True, return_locations=True)
        share = np.sum((at_m - origins_m[ray]) * along_m[ray], axis=1) / np.sum(along_m[ray] ** 2, axis=1)
        return LOSS_DB * np.bincount(ray[share <= 1.0], minlength=len(origins_m))

    return losses_db


def bare_embree(plan):
    """The same by embreex alone: the nearest hit, and again from just behind it, until a line's end."""
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    tracer = rtcore_scene.EmbreeScene()
    TriangleMesh(tracer, triangles_m(plan).astype(np.float32))

    def losses_db(starts_m, ends_m):
        at_m, along_m = _rays(starts_m, ends_m)
        left_m = np.linalg.norm(along_m, axis=1)
        towards = (along_m / left_m[:, None]).astype(np.float32)
        at_m, line, sums_db = at_m.astype(np.float32), np.arange(len(at_m)), np.zeros(len(at_m))
        while len(line):
            met = tracer.run(at_m, towards[line], output=1)
            hit = (met["primID"] >= 0) & (met["tfar"] <= left_m)
            line, ahead_m = line[hit], met["tfar"][hit] + STEP_M
            sums_db[line] += LOSS_DB
            at_m, left_m = at_m[hit] + ahead_m[:, None].astype(np.float32) * towards[line], left_m[hit] - ahead_m
        return sums_db

    return losses_db

"""The surface that planned passes cut, in closed form, and points to look at: nothing of pathgen's proof is used."""

import numpy as np
import shapely

import pathgen as pg


def moves(cut):
    """All straight moves (a, b), arcs cut into chords of 0.00002 mm sagitta."""
    parts = [p.path.flattened(2e-5) for p in cut.passes]
    return np.concatenate([p[:-1] for p in parts]), np.concatenate([p[1:] for p in parts])


def swept(cut, q):
    """Lowest point of the tool at each q, in closed form: on a straight move the height over q is convex in the way."""
    a, b = moves(cut)
    tool = cut.tool
    sharp = isinstance(tool, pg.VBit)
    slope = tool.slope if sharp else 1e-9
    flat = 0.5 * (tool.tip if sharp else tool.diameter)
    reach = 0.5 * tool.diameter if sharp else flat
    reach = min(reach, flat + cut.depth * slope) + 1e-6
    lines = shapely.linestrings(np.stack([a[:, :2], b[:, :2] + 1e-9], axis=1))
    out = np.zeros(len(q))
    for begin in range(0, len(q), 4000):
        some = q[begin : begin + 4000]
        n, k = shapely.STRtree(lines).query(shapely.points(some), predicate="dwithin", distance=reach)
        step = b[k] - a[k]
        length = np.hypot(step[:, 0], step[:, 1])
        along = step[:, :2] / np.maximum(length, 1e-12)[:, None]
        to = some[n] - a[k, :2]
        u = (to * along).sum(axis=1)
        w = np.where(length > 1e-9, np.abs(along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]), np.hypot(*to.T))
        u = np.where(length > 1e-9, u, 0.0)
        m = np.where(length > 1e-9, step[:, 2] / np.maximum(length, 1e-12), 0.0)
        lean = np.clip(m * slope, -1 + 1e-12, 1 - 1e-12)
        half = np.sqrt(np.maximum(flat * flat - w * w, 0.0))
        best = np.full(len(n), np.inf)
        for s in (0 * u, length, u - w * lean / np.sqrt(1 - lean * lean), u - half, u + half):
            s = np.clip(s, 0, length)
            far = np.hypot(u - s, w)
            share = s / np.maximum(length, 1e-12)
            low = np.where(length > 1e-9, a[k, 2] + share * step[:, 2], np.minimum(a[k, 2], b[k, 2]))
            height = low + np.maximum(far - flat, 0) / slope
            best = np.minimum(best, np.where(far <= reach, height, np.inf))
        np.minimum.at(out[begin : begin + 4000], n, best)
    return out


def outline_points(region, spacing):
    rings = shapely.get_rings(shapely.get_parts(region))
    return np.concatenate([shapely.get_coordinates(shapely.segmentize(r, spacing))[:-1] for r in rings])


def inner_points(region, count, seed=1):
    x0, y0, x1, y1 = region.bounds
    rng = np.random.default_rng(seed)
    q = rng.uniform((x0, y0), (x1, y1), (count, 2))
    shapely.prepare(region)
    return q[shapely.contains_xy(region, q[:, 0], q[:, 1])]


def distance(region, q):
    """Signed distance from the outline, + inside."""
    lines = shapely.get_parts(shapely.boundary(region))
    tree = shapely.STRtree(np.concatenate([edges(line) for line in lines]))
    (index, _), d = tree.query_nearest(shapely.points(q), return_distance=True, all_matches=False)
    out = np.empty(len(q))
    out[index] = d
    return np.where(shapely.contains_xy(region, q[:, 0], q[:, 1]), out, -out)


def edges(line):
    xy = shapely.get_coordinates(line)
    return shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))

#!/usr/bin/env python3
"""
An independent answer for the motorcycle job (motorbike.yaml), with general-purpose libraries only: numpy, scipy
(KD-tree, distance transform, labels) and VTK (a second opinion on distances). Shares no code and no method with the
program: distances are exact point-to-triangle distances found through a KD-tree of surface samples, the rolled ball is
a KD-tree of points that lie exactly on the border of the ball's centres.

  /usr/bin/python3 tests/reference/motorbike.py motorBike.obj.gz > tests/reference/motorbike.json

All lengths mm, volumes litres. Words as in the program: slack, skin, envelope, least radius, reclaimed.

  obstacles  every group but the tank, as sheets (the mesh is made of open shells whose faces point either way, and of
             mirrored "-shadow" twins, so no group but one has an inside that could be told)
  s          distance to the obstacles less the clearance
  skin       a ball of radius SKIN rolls from outside over all groups, tank in place; C is where its centre can be;
             the region is what the ball cannot touch, and the distance to its border is dist(x, C) - SKIN
  near       within NEAR of the tank's sheet, or inside the tank (|winding number| > 1/2)
  f          min(s, distance to the skin's border, distance to the near region's border)
  K_r        the piece of {f >= r} that holds the start point
  envelope   all points within r of K_r
"""

import gzip
import json
import math
import sys
import time

import numpy as np
import open3d
import scipy
import vtk
from scipy import ndimage, optimize
from scipy.interpolate import RegularGridInterpolator
from vtk.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy

CLEARANCE = 5.0
SKIN = 150.0
NEAR = 50.0
LEAST_RADIUS = 30.0
RADII = [10.0, 20.0, 30.0, 40.0, 50.0]
STEPS = [5.0, 4.0, 3.0, 2.5]
SKIN_STEPS = [10.0, 8.0, 6.0, 5.0]
TANK = "fuel-tank"
RIDER = "rider-"


def log(*words):
    print(*words, file=sys.stderr, flush=True)


def read_obj(path):
    """Vertices in mm (the file is in metres) and the triangles of each group, by name without the trailing %number."""
    vertices, groups, name = [], {}, None
    with gzip.open(path, "rt") as lines:
        for line in lines:
            if line.startswith("v "):
                vertices.append([float(w) for w in line.split()[1:4]])
            elif line.startswith("g "):
                name = line.split(None, 1)[1].strip()
                groups.setdefault(name, [])
            elif line.startswith("f "):
                groups[name].append([int(w.split("/")[0]) - 1 for w in line.split()[1:]])
    return np.array(vertices) * 1000.0, {k: np.array(v) for k, v in groups.items()}


def without_twins(vertices, faces):
    """The faces without those that lie exactly on another one (the "-shadow" groups): a sheet is the same from both sides."""
    _, number = np.unique(np.round(vertices, 4), axis=0, return_inverse=True)
    _, first = np.unique(np.sort(number.ravel()[faces], axis=1), axis=0, return_index=True)
    return faces[np.sort(first)]


class Surface:
    """Nearest points on a soup of triangles: exact, through Open3D's ray-tracing scene (float32: good to 1e-4 mm)."""

    def __init__(self, vertices, faces):
        self.scene = open3d.t.geometry.RaycastingScene()
        self.scene.add_triangles(open3d.core.Tensor(vertices.astype(np.float32)), open3d.core.Tensor(faces.astype(np.uint32)))
        used = vertices[faces].reshape(-1, 3)
        self.box = (used.min(0), used.max(0))

    def nearest(self, p):
        """Distance and nearest point for each row of p."""
        near = np.empty((len(p), 3))
        for at in range(0, len(p), 1_000_000):
            q = open3d.core.Tensor(p[at : at + 1_000_000].astype(np.float32))
            near[at : at + 1_000_000] = self.scene.compute_closest_points(q)["points"].numpy()
        return np.sqrt(((p - near) ** 2).sum(1)), near


class Points(Surface):
    """The same for a bare set of points, each given as a speck of a triangle."""

    def __init__(self, points):
        corners = np.repeat(points, 3, axis=0)
        corners[1::3, 0] += 1e-3
        corners[2::3, 1] += 1e-3
        super().__init__(corners, np.arange(len(corners)).reshape(-1, 3))


def winding(p, vertices, faces, block=100):
    """Winding number of the tank's sheet about each row of p: sum of solid angles (van Oosterom and Strackee 1983)."""
    out = np.zeros(len(p))
    t = [vertices[faces[:, i]] for i in range(3)]
    for at in range(0, len(p), block):
        q = p[at : at + block, None, :]
        a, b, c = (x[None] - q for x in t)
        la, lb, lc = (np.sqrt((x * x).sum(2)) for x in (a, b, c))
        det = (a * np.cross(b, c)).sum(2)
        den = la * lb * lc + (a * b).sum(2) * lc + (b * c).sum(2) * la + (c * a).sum(2) * lb
        out[at : at + block] = np.arctan2(det, den).sum(1) / (2 * math.pi)
    return out


class Inside:
    """Whether points lie inside the tank: |w| > 1/2, w linear between the cells of a lattice (it is smooth off the sheet)."""

    def __init__(self, vertices, faces, box):
        shape, axes = lattice(box[0] - 20, box[1] + 20, 14.0)
        w = winding(rows(axes, np.arange(np.prod(shape))), vertices, faces)
        self.w = RegularGridInterpolator(axes, w.reshape(shape), bounds_error=False, fill_value=0.0)

    def __call__(self, p):
        return np.abs(self.w(p)) > 0.5


def lattice(lo, hi, step):
    """Centres of a lattice of cells over the box, on whole multiples of the step; shape and the coordinates of each axis."""
    axes = [np.arange(math.floor(l / step), math.ceil(h / step) + 1) * step for l, h in zip(lo, hi)]
    return tuple(len(a) for a in axes), axes


def rows(axes, cells):
    i, j, k = np.unravel_index(cells, tuple(len(a) for a in axes))
    return np.stack([axes[0][i], axes[1][j], axes[2][k]], 1)


def onto(level, p, evaluate, rounds=4):
    """
    Points exactly on the border of {value >= level}: those above go straight towards their nearest point (value falls
    by as much as they move and never further), those below go away from it until all constraints hold, which finds the
    creases as well. `evaluate(p)` gives values and unit directions in which the value grows.
    """
    p = p.copy()
    value, up = evaluate(p)
    above = value >= level
    p[above] -= up[above] * (value[above] - level)[:, None]
    low = np.flatnonzero(~above)
    q, value, up = p[low], value[low], up[low]
    for _ in range(rounds):
        q = q + up * np.maximum(level - value, 0)[:, None]
        value, up = evaluate(q)
    fine = value >= level - 1e-3
    return np.vstack([p[above], q[fine]])


def skin_centres(scans, box, step):
    """Points on the border of C, those that matter inside `box`, from a lattice of `step` mm over all scans."""
    reach = SKIN + 3 * step
    lo, hi = scans.box[0] - reach, scans.box[1] + reach
    shape, axes = lattice(lo, hi, step)
    # Every fourth cell along each axis first; a cell is only asked itself where the nearest of those leaves it open.
    far = tuple(a[::4] for a in axes)
    rough, _ = scans.nearest(rows(far, np.arange(np.prod([len(a) for a in far]))))
    rough = rough.reshape([len(a) for a in far])
    rough = np.repeat(np.repeat(np.repeat(rough, 4, 0), 4, 1), 4, 2)[: shape[0], : shape[1], : shape[2]]
    band = np.flatnonzero(np.abs(rough - SKIN) <= 3 * math.sqrt(3) * step + 2 * step)
    d, _ = scans.nearest(rows(axes, band))
    open_ = (rough >= SKIN).ravel()
    open_[band] = d >= SKIN
    labels, _ = ndimage.label(open_.reshape(shape))
    outside = labels == labels[0, 0, 0]
    log(f"  skin lattice {shape}, {band.size} cells asked, outside {outside.sum()}, other open pieces {int((open_.sum() - outside.sum()))} cells")
    # Cells by the border of the outside piece: inside it and one step beyond.
    near = ndimage.binary_dilation(outside, iterations=2).ravel()[band] & (d < SKIN + 1.5 * step)
    p = rows(axes, band[near])
    p = p[((p > box[0] - 330) & (p < box[1] + 330)).all(1)]

    def evaluate(q):
        d, n = scans.nearest(q)
        return d, (q - n) / np.maximum(d, 1e-9)[:, None]

    return Points(onto(SKIN, p, evaluate))


def near_border(tank, within, box, step):
    """Points on the border of the near region (NEAR outside the tank's sheet), and how deep |w| > 1/2 lies beyond NEAR."""
    shape, axes = lattice(box[0] - 20, box[1] + 20, step)
    p = rows(axes, np.arange(np.prod(shape)))
    d, _ = tank.nearest(p)
    band = np.abs(d - NEAR) <= 1.8 * step
    p = p[band]
    inside = within(p)
    log(f"  near band {len(p)} cells, of them inside the tank {inside.sum()}")

    def evaluate(q):
        d, n = tank.nearest(q)
        return -d, (n - q) / np.maximum(d, 1e-9)[:, None]

    edge = onto(-NEAR, p[~inside], evaluate)
    # Across the tank's open underside the border is where |w| = 1/2, as far as that lies beyond NEAR from the sheet.
    p = rows(axes, np.arange(np.prod(shape)))
    w = np.abs(within.w(p)).reshape(shape)
    across = []
    for a in range(3):
        lo, hi = [slice(None)] * 3, [slice(None)] * 3
        lo[a], hi[a] = slice(None, -1), slice(1, None)
        u, v = w[tuple(lo)] - 0.5, w[tuple(hi)] - 0.5
        cells = np.flatnonzero(u * v < 0)
        i = np.ravel_multi_index(np.unravel_index(cells, u.shape), shape)
        t = (u.ravel() / (u - v).ravel())[cells]
        q = p[i]
        q[:, a] += t * step
        across.append(q)
    across = np.vstack(across)
    across = across[tank.nearest(across)[0] > NEAR]
    log(f"  {len(across)} border points on the open side's membrane")
    return Points(np.vstack([edge, across])), len(across)


class Job:
    """f, exactly, at any points of the near region."""

    def __init__(self, obstacles, skin, border):
        self.obstacles, self.skin, self.border = obstacles, skin, border

    def evaluate(self, p):
        d, n = self.obstacles.nearest(p)
        f = d - CLEARANCE
        far = n
        dc, c = self.skin.nearest(p)
        use = dc - SKIN < f
        f = np.where(use, dc - SKIN, f)
        far = np.where(use[:, None], c, far)
        dn, b = self.border.nearest(p)
        use = dn < f
        f = np.where(use, dn, f)
        far = np.where(use[:, None], b, far)
        away = p - far
        return f, away / np.maximum(np.sqrt((away**2).sum(1)), 1e-9)[:, None]


def volume(core, f, axes, step, radius, job):
    """
    Litres within `radius` of the core (a mask of cells with f >= radius), by the share of each cell that is covered; the
    points of the border lie exactly on it. Also gives the field radius - dist(x, core), which is enough for masks.
    """
    shape = core.shape
    shell = ndimage.binary_dilation(core, iterations=2) & ~ndimage.binary_erosion(core, iterations=2)
    edge = onto(radius, rows(axes, np.flatnonzero(shell & (f > radius - 2 * step))), job.evaluate)
    tree = Points(edge)
    depth = np.where(core, np.float32(1e3), np.float32(-1e3))
    grow = int(math.ceil(radius / step)) + 1
    ball = ndimage.distance_transform_edt(~core, sampling=step)
    ask = np.flatnonzero((ball > 0) & (ball <= (grow + 1) * step))
    d, _ = tree.nearest(rows(axes, ask))
    depth.ravel()[ask] = np.maximum(radius - d, -1e3)
    cover = np.clip(0.5 + depth / step, 0, 1)
    return float(cover.sum(dtype=np.float64)) * step**3 / 1e6, depth


def measure(job, tank, within, box, step, start):
    """Litres for each radius at one step, the reclaimed litres, and the largest ball."""
    shape, axes = lattice(box[0] - 2 * step, box[1] + 2 * step, step)
    p = rows(axes, np.arange(np.prod(shape)))
    f, _ = job.evaluate(p)
    # Cells outside the near region: distance to its border counts negative there.
    d_tank, _ = tank.nearest(p)
    outside = (d_tank > NEAR) & ~within(p)
    f = np.where(outside, np.minimum(f, NEAR - d_tank), f)
    f = np.where(job.skin.nearest(p)[0] < SKIN, np.minimum(f, -1e-3), f)
    f = f.reshape(shape).astype(np.float32)
    at = tuple(int(round((start[a] - axes[a][0]) / step)) for a in range(3))
    out = {}
    for radius in RADII:
        labels, _ = ndimage.label(f >= radius)
        name = labels[at]
        if name == 0:
            out[radius] = {"litres": 0.0}
            continue
        core = labels == name
        litres, depth = volume(core, f, axes, step, radius, job)
        entry = {"litres": litres, "core_cells": int(core.sum())}
        if radius == LEAST_RADIUS:
            entry["reclaimed"] = reclaimed(job, tank, f, axes, step, radius, depth, within)
            best = np.flatnonzero(core & (f > f[core].max() - step))
            entry["ball"] = largest_ball(job, rows(axes, best))
            cells = np.flatnonzero(np.abs(depth) < 1e2)
            q = rows(axes, np.flatnonzero(depth.ravel() >= 0))
            entry["box"] = [q.min(0).tolist(), q.max(0).tolist()]
            entry["centre"] = (lambda c: [float((c * a).sum() / c.sum()) for a in np.meshgrid(*axes, indexing="ij")])(
                np.clip(0.5 + depth / step, 0, 1)
            )
            entry["border_cells"] = int(cells.size)
        out[radius] = entry
    return out


def reclaimed(job, tank, f, axes, step, radius, depth, within):
    """
    Litres of the envelope that were not free with the tank in place: the tank is then one more obstacle, solid, with no
    clearance of its own and, as a second figure, with the clearance of the others.
    """
    cells = np.flatnonzero(f > -1)
    p = rows(axes, cells)
    d, _ = tank.nearest(p)
    inside = within(p)
    out = {}
    for name, clearance in (("tank_clearance_0", 0.0), ("tank_clearance_as_obstacles", CLEARANCE)):
        g = np.full(f.shape, -1e3, np.float32)
        g.ravel()[cells] = np.minimum(f.ravel()[cells], np.where(inside, -d, d - clearance))

        class WithTank:
            @staticmethod
            def evaluate(q):
                v, up = job.evaluate(q)
                t, n = tank.nearest(q)
                use = t - clearance < v
                away = (q - n) / np.maximum(t, 1e-9)[:, None]
                return np.where(use, t - clearance, v), np.where(use[:, None], away, up)

        core = g >= radius
        if not core.any():
            out[name] = {"already_free": 0.0, "reclaimed": None}
            continue
        _, before = volume(core, g, axes, step, radius, WithTank)
        both = np.minimum(np.clip(0.5 + before / step, 0, 1), np.clip(0.5 + depth / step, 0, 1))
        whole = float(np.clip(0.5 + depth / step, 0, 1).sum(dtype=np.float64))
        already = float(both.sum(dtype=np.float64))
        out[name] = {"already_free": already * step**3 / 1e6, "reclaimed": (whole - already) * step**3 / 1e6}
    return out


def largest_ball(job, starts):
    """The greatest f near the given points: a simplex search on the exact f from the best few."""
    value, _ = job.evaluate(starts)
    best = None
    for k in np.argsort(-value)[:6]:
        r = optimize.minimize(lambda q: -job.evaluate(q[None])[0][0], starts[k], method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-4, "maxiter": 400})
        if best is None or -r.fun > best["radius"]:
            best = {"radius": float(-r.fun), "centre": r.x.tolist()}
    return best


def vtk_check(vertices, faces, p):
    """Distances from VTK's cell locator, as a second opinion on the KD-tree's."""
    poly = vtk.vtkPolyData()
    points = vtk.vtkPoints()
    points.SetData(numpy_to_vtk(vertices, deep=1))
    cells = vtk.vtkCellArray()
    cells.SetCells(len(faces), numpy_to_vtkIdTypeArray(np.hstack([np.full((len(faces), 1), 3), faces]).ravel().astype(np.int64), deep=1))
    poly.SetPoints(points)
    poly.SetPolys(cells)
    signed = vtk.vtkImplicitPolyDataDistance()
    signed.SetInput(poly)
    out = vtk.vtkDoubleArray()
    signed.FunctionValue(numpy_to_vtk(np.ascontiguousarray(p), deep=1), out)
    return np.abs(vtk_to_numpy(out))


def find_start(job, within, tank_box):
    """The point inside the tank with the most room: best of a 10 mm lattice by |w| > 1/2, then whole mm."""
    shape, axes = lattice(tank_box[0], tank_box[1], 10.0)
    p = rows(axes, np.arange(np.prod(shape)))
    p = p[within(p)]
    f, _ = job.evaluate(p)
    return np.round(p[np.argmax(f)]), float(f.max())


def study(vertices, groups, tank_faces, without, started):
    obstacle_faces = np.vstack([f for k, f in groups.items() if not k.startswith(TANK) and not any(k.startswith(w) for w in without)])
    obstacle_faces = without_twins(vertices, obstacle_faces)
    scan_faces = np.vstack([obstacle_faces, tank_faces])
    tank_points = vertices[tank_faces].reshape(-1, 3)
    tank_box = (tank_points.min(0), tank_points.max(0))
    box = (tank_box[0] - NEAR, tank_box[1] + NEAR)
    log("obstacles")
    obstacles = Surface(vertices, obstacle_faces)
    log("tank")
    tank = Surface(vertices, tank_faces)
    log("all scans, for the skin")
    scans = Surface(vertices, without_twins(vertices, scan_faces))
    probe = np.random.default_rng(1).uniform(box[0], box[1], (3000, 3))
    mine, theirs = obstacles.nearest(probe)[0], vtk_check(vertices, obstacle_faces, probe)
    differ = mine - theirs
    log(f"  {time.time() - started:.0f} s; against VTK: {differ.min():.2e} .. {differ.max():.2e} mm")
    within = Inside(vertices, tank_faces, box)
    border, deep = near_border(tank, within, box, 3.0)
    result = {"obstacle_triangles": len(obstacle_faces), "vtk_difference_mm": [float(differ.min()), float(differ.max())], "near_membrane_points": deep, "steps": {}}
    start = None
    for skin_step, step in zip(SKIN_STEPS, STEPS):
        skin = skin_centres(scans, box, skin_step)
        job = Job(obstacles, skin, border)
        if start is None:
            start, room = find_start(job, within, tank_box)
            log(f"start {start} with room {room:.1f}")
            result["start"], result["start_room"] = start.tolist(), room
        figures = measure(job, tank, within, box, step, start)
        result["steps"][step] = figures
        log(f"  box {figures[LEAST_RADIUS].get('box')} centre {figures[LEAST_RADIUS].get('centre')}")
        log(f"step {step} ({time.time() - started:.0f} s):", {r: round(v["litres"], 3) for r, v in figures.items()}, figures[LEAST_RADIUS].get("ball"), figures[LEAST_RADIUS].get("reclaimed"))
    return result


def main():
    started = time.time()
    vertices, groups = read_obj(sys.argv[1])
    tank_faces = np.vstack([f for k, f in groups.items() if k.startswith(TANK)])
    cases = {"as_scanned": study(vertices, groups, tank_faces, [], started)}
    out = {
        "versions": {"numpy": np.__version__, "scipy": scipy.__version__, "open3d": open3d.__version__, "vtk": vtk.vtkVersion().GetVTKVersion()},
        "job": {"clearance": CLEARANCE, "skin": SKIN, "near": NEAR, "least_radius": LEAST_RADIUS},
        "cases": cases,
    }
    json.dump(out, sys.stdout, indent=1)


if __name__ == "__main__":
    main()

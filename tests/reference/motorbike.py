#!/usr/bin/env python3
"""
An independent answer for the motorcycle job, with general-purpose libraries only: Open3D (nearest points on triangles), scipy
(labels, distance transform, simplex search), VTK (a second opinion on distances), numpy. Shares no code with the program and no
method for the rolled ball, which here is a set of points that lie exactly on the border of the ball's centres.

  /usr/bin/python3 tests/reference/motorbike.py motorBike.obj.gz > motorbike.json
  (Debian: python3-open3d python3-scipy python3-vtk9 openfoam-examples; about 10 minutes on two cores)

All lengths mm, volumes litres. Words as in the program.

  obstacles  every group but the tank, as sheets: the mesh is made of open shells whose faces point either way, and of mirrored
             "-shadow" twins, so hardly any group has an inside that could be told. The rider is scanned with the machine and stays.
  s          distance to the obstacles less the clearance
  skin       a ball of radius SKIN rolls from outside over all groups, tank in place; C is where its centre can be; the region is
             what the ball cannot touch, and the distance to its border is dist(x, C) - SKIN
  box        case "box": the region is also an axis-parallel box round the tank
  near       case "near": the region is also what lies within NEAR of the tank's sheet, or inside the tank. The tank is an open shell
             with its faces inwards (winding number about -0.6 in the middle): inside means |winding number| > 1/2, and where that
             ends, across the open underside, so does the region
  f          min(s, distance to the skin's border, distance to the box or to the border of "near")
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
RADII = [20.0, 30.0, 45.0]
BOX = [[350.0, -285.0, 675.0], [1000.0, 270.0, 1050.0]]
STEPS = [6.0, 4.0, 3.0]
SKIN_STEPS = [10.0, 8.0, 6.0]
TANK = "fuel-tank"


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


class BoxRegion:
    """An axis-parallel box: exact distance to its nearest side, positive inside."""

    def __init__(self, lo, hi):
        self.lo, self.hi = np.array(lo), np.array(hi)

    def evaluate(self, p):
        depth = np.concatenate([p - self.lo, self.hi - p], axis=1)
        side = depth.argmin(1)
        row = np.arange(len(p))
        far = p.copy()
        far[row, side % 3] = np.where(side < 3, self.lo[side % 3], self.hi[side % 3])
        return depth[row, side], far


class NearRegion:
    """Within NEAR of the tank's sheet or inside the tank; distance to the border by its points (see near_border)."""

    def __init__(self, tank, within, border):
        self.tank, self.within, self.border = tank, within, border

    def evaluate(self, p):
        d, far = self.border.nearest(p)
        sheet, _ = self.tank.nearest(p)
        return np.where((sheet <= NEAR) | self.within(p), d, -d), far


class Job:
    """f, exactly, at any points, and the unit direction in which it grows."""

    def __init__(self, obstacles, skin, region):
        self.obstacles, self.skin, self.region = obstacles, skin, region

    def evaluate(self, p):
        f, far = self.region.evaluate(p)
        up = p - far
        up[f < 0] *= -1
        ask = np.flatnonzero(f > 0)
        for surface, off in ((self.obstacles, CLEARANCE), (self.skin, SKIN)):
            d, n = surface.nearest(p[ask])
            less = d - off < f[ask]
            f[ask[less]] = d[less] - off
            up[ask[less]] = p[ask[less]] - n[less]
            ask = ask[f[ask] > 0]
        return f, up / np.maximum(np.sqrt((up**2).sum(1)), 1e-9)[:, None]


class WithTank:
    """The same with the tank's sheet as one more obstacle."""

    def __init__(self, job, tank, clearance):
        self.job, self.tank, self.clearance = job, tank, clearance

    def evaluate(self, p):
        f, up = self.job.evaluate(p)
        d, n = self.tank.nearest(p)
        less = d - self.clearance < f
        away = (p - n) / np.maximum(d, 1e-9)[:, None]
        return np.where(less, d - self.clearance, f), np.where(less[:, None], away, up)


def cover(depth, step):
    """Share of each cell that is covered, from the distance to the border at its centre."""
    return np.clip(0.5 + depth / step, 0, 1)


def litres(share, step):
    return float(share.sum(dtype=np.float64)) * step**3 / 1e6


def grow(core, f, axes, step, radius, job):
    """radius - dist(x, core) at each cell, from points that lie exactly on the core's border; `core` is a mask of cells with f >= radius."""
    shell = ndimage.binary_dilation(core, iterations=2) & ~ndimage.binary_erosion(core, iterations=2)
    edge = Points(onto(radius, rows(axes, np.flatnonzero(shell & (f > radius - 2 * step))), job.evaluate))
    depth = np.where(core, np.float32(1e3), np.float32(-1e3))
    rough = ndimage.distance_transform_edt(~core, sampling=step)
    sure = (rough > 0) & (rough <= radius - 2 * step)
    depth[sure] = 1e3
    ask = np.flatnonzero((rough > radius - 2 * step) & (rough <= radius + 2 * step) & (rough > 0))
    d, _ = edge.nearest(rows(axes, ask))
    depth.ravel()[ask] = radius - d
    return depth


def measure(job, tank, within, box, step, start):
    """Litres for each radius at one step; for LEAST_RADIUS also the largest ball, the box, the centre and the reclaimed litres."""
    shape, axes = lattice(box[0] - 2 * step, box[1] + 2 * step, step)
    f = job.evaluate(rows(axes, np.arange(np.prod(shape))))[0].reshape(shape).astype(np.float32)
    at = tuple(int(round((start[a] - axes[a][0]) / step)) for a in range(3))
    out = {}
    for radius in RADII:
        labels, _ = ndimage.label(f >= radius)
        core = labels == labels[at] if labels[at] else np.zeros(shape, bool)
        if not core.any():
            out[radius] = {"litres": 0.0}
            continue
        depth = grow(core, f, axes, step, radius, job)
        share = cover(depth, step)
        entry = {"litres": litres(share, step), "core_pieces": int(labels.max())}
        if radius == LEAST_RADIUS:
            entry["ball"] = largest_ball(job, rows(axes, np.flatnonzero(core & (f > f[core].max() - step))))
            q = rows(axes, np.flatnonzero(depth.ravel() >= 0))
            entry["box"] = [q.min(0).tolist(), q.max(0).tolist()]
            entry["centre"] = [float((share * a).sum() / share.sum()) for a in np.meshgrid(*axes, indexing="ij", sparse=True)]
            entry["reclaimed"] = reclaimed(job, tank, within, f, axes, step, share)
        out[radius] = entry
    return out


def reclaimed(job, tank, within, f, axes, step, share):
    """
    Litres of the envelope that were not free, for a ball of LEAST_RADIUS from any start, with the tank in place: its sheet with the
    clearance of the obstacles, its inside (|w| > 1/2) either full ("solid") or not ("sheet").
    """
    p = rows(axes, np.arange(f.size))
    d = tank.nearest(p)[0].reshape(f.shape)
    inside = within(p).reshape(f.shape)
    before = np.minimum(f, d - CLEARANCE)
    out = {}
    for kind in ("solid", "sheet"):
        core = (before >= LEAST_RADIUS) & ~(inside if kind == "solid" else np.zeros_like(inside))
        already = 0.0
        if core.any():
            depth = grow(core, before, axes, step, LEAST_RADIUS, WithTank(job, tank, CLEARANCE))
            already = litres(np.minimum(cover(depth, step), share), step)
        out[kind] = litres(share, step) - already
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
    """Distances from VTK's cell locator, as a second opinion on Open3D's."""
    poly = vtk.vtkPolyData()
    points = vtk.vtkPoints()
    points.SetDataTypeToDouble()
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


def main():
    started = time.time()
    vertices, groups = read_obj(sys.argv[1])
    tank_faces = np.vstack([f for k, f in groups.items() if k.startswith(TANK)])
    obstacle_faces = without_twins(vertices, np.vstack([f for k, f in groups.items() if not k.startswith(TANK)]))
    tank_points = vertices[tank_faces].reshape(-1, 3)
    tank_box = (tank_points.min(0), tank_points.max(0))
    box = (np.minimum(tank_box[0] - NEAR, BOX[0]), np.maximum(tank_box[1] + NEAR, BOX[1]))
    obstacles = Surface(vertices, obstacle_faces)
    tank = Surface(vertices, tank_faces)
    scans = Surface(vertices, np.vstack([obstacle_faces, tank_faces]))
    probe = np.random.default_rng(1).uniform(box[0], box[1], (3000, 3))
    differ = obstacles.nearest(probe)[0] - vtk_check(vertices, obstacle_faces, probe)
    log(f"{time.time() - started:.0f} s; distances against VTK: {differ.min():.2e} .. {differ.max():.2e} mm")
    within = Inside(vertices, tank_faces, box)
    log(f"{time.time() - started:.0f} s; winding numbers done")
    border, membrane = near_border(tank, within, box, 3.0)
    regions = {"box": BoxRegion(*BOX), "near": NearRegion(tank, within, border)}
    cases = {name: {} for name in regions}
    out = {
        "versions": {"python": sys.version.split()[0], "numpy": np.__version__, "scipy": scipy.__version__, "open3d": open3d.__version__, "vtk": vtk.vtkVersion().GetVTKVersion()},
        "job": {"clearance": CLEARANCE, "skin": SKIN, "near": NEAR, "least_radius": LEAST_RADIUS, "box": BOX},
        "obstacle_triangles": len(obstacle_faces),
        "vtk_difference_mm": [float(differ.min()), float(differ.max())],
        "near_membrane_points": membrane,
        "steps": list(zip(SKIN_STEPS, STEPS)),
        "cases": cases,
    }
    for skin_step, step in out["steps"]:
        skin = skin_centres(scans, box, skin_step)
        for name, region in regions.items():
            job = Job(obstacles, skin, region)
            if "start" not in cases[name]:
                start, room = find_start(job, within, tank_box)
                cases[name] = {"start": start.tolist(), "start_room": room, "by_step": {}}
            figures = measure(job, tank, within, box, step, np.array(cases[name]["start"]))
            cases[name]["by_step"][step] = figures
            log(f"{time.time() - started:.0f} s; {name} step {step} skin {skin_step} start {cases[name]['start']}", json.dumps(figures))
    json.dump(out, sys.stdout, indent=1)
    print()


if __name__ == "__main__":
    main()

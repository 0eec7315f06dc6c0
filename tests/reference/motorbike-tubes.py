#!/usr/bin/env python3
"""
Tubes of the motorcycle mesh measured by hand: a plane square to the tube, the points where it cuts the edges of one group's triangles, and
the circle nearest to them (numpy only; shares nothing with the program). Where and along what the cuts are made was read off the mesh.

  /usr/bin/python3 tests/reference/motorbike-tubes.py motorBike.obj.gz > tests/reference/motorbike-tubes.json

The mesh is made of flat faces with their corners on the tube: cuts lie between the corners' circle and the middles of the faces, so the tube's
diameter lies between the nearest circle's ("circle") and twice the greatest distance from its middle ("most"). Lengths mm.
"""

import gzip
import json
import sys

import numpy as np

TUBES = {
    "left grip": ("hbars", [306.7, 89.1, 914.2], [283.7, 94.5, 858.2]),
    "right grip": ("hbars", [305.0, -119.4, 910.1], [282.4, -114.1, 855.3]),
    "exhaust header": ("exhaust", [471.8, 20.9, 340.0], [472.3, 20.9, 266.5]),
}
SHARES = [0.35, 0.4, 0.45, 0.5]
REACH = 45.0


def read(path):
    vertices, groups, triangles = [], {}, []
    with gzip.open(path, "rt") as lines:
        for line in lines:
            if line.startswith("v "):
                vertices.append([1000 * float(x) for x in line.split()[1:4]])
            elif line.startswith("g "):
                triangles = groups.setdefault(line[2:].strip().split("%")[0], [])
            elif line.startswith("f "):
                c = [int(s.split("/")[0]) - 1 for s in line.split()[1:]]
                triangles += [(c[0], c[k], c[k + 1]) for k in range(1, len(c) - 1)]
    return np.array(vertices), groups


def cut(vertices, triangles, at, normal):
    height = (vertices - at) @ normal
    points = []
    for t in triangles:
        for i, j in ((t[0], t[1]), (t[1], t[2]), (t[2], t[0])):
            if (height[i] < 0) != (height[j] < 0):
                q = vertices[i] + height[i] / (height[i] - height[j]) * (vertices[j] - vertices[i])
                if np.linalg.norm(q - at) < REACH:
                    points.append(q)
    return np.array(points)


def circle(points, normal):
    u = np.cross(normal, [0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    x, y = points @ u, points @ np.cross(normal, u)
    a, b, c = np.linalg.lstsq(np.c_[x, y, np.ones(len(x))], x * x + y * y, rcond=None)[0]
    off = np.hypot(x - a / 2, y - b / 2)
    return 2 * float(np.sqrt(c + a * a / 4 + b * b / 4)), 2 * float(off.max())


def main():
    vertices, groups = read(sys.argv[1])
    out = {}
    for name, (group, a, b) in TUBES.items():
        a, b = np.array(a), np.array(b)
        normal = (b - a) / np.linalg.norm(b - a)
        found = [circle(cut(vertices, groups[group], a + s * (b - a), normal), normal) for s in SHARES]
        middle = a + 0.5 * (b - a)
        out[name] = {
            "group": group,
            "at": [round(float(v), 2) for v in middle],
            "circle": round(float(np.median([f[0] for f in found])), 3),
            "most": round(float(np.median([f[1] for f in found])), 3),
        }
    print(json.dumps({"numpy": np.__version__, "tubes": out}, indent=2))


main()

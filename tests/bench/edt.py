"""
The distance of the benchmark's mesh by scipy's exact distance transform (Debian: python3-scipy), for comparison: cells that hold a
sample of the surface are zero, the transform does the rest. Same files as vdb.cpp; prints one line of JSON, the best of `runs`.
The sampling is not timed; the marking and the transform are.
"""
import json
import sys
import time

import numpy as np
from scipy import ndimage

with open(sys.argv[1], "rb") as f:
    nv, nt = np.fromfile(f, np.int32, 2)
    step, *origin = np.fromfile(f, np.float32, 4)
    dims = np.fromfile(f, np.int32, 3)
    p = np.fromfile(f, np.float32, nv * 3).reshape(-1, 3)
    t = np.fromfile(f, np.uint32, nt * 3).reshape(-1, 3)
# The mesh's triangles are smaller than a cell: corners, edge middles and centroids leave no gap.
a, b, c = (p[t[:, i]] for i in range(3))
samples = np.vstack([p, (a + b) / 2, (b + c) / 2, (c + a) / 2, (a + b + c) / 3])
wall = cpu = 1e9
for _ in range(int(sys.argv[4])):
    t0, c0 = time.perf_counter(), time.process_time()
    at = np.round((samples - np.array(origin, np.float32)) / step).astype(np.int32)
    at = at[((at >= 0) & (at < dims)).all(1)]
    free = np.ones(dims[::-1], bool)
    free[at[:, 2], at[:, 1], at[:, 0]] = False
    d = ndimage.distance_transform_edt(free, sampling=step)
    wall, cpu = min(wall, time.perf_counter() - t0), min(cpu, time.process_time() - c0)
d.astype(np.float32).tofile(sys.argv[2])
print(json.dumps({"wall": wall, "cpu": cpu}))

#!/usr/bin/python3
"""Reference data for service/internal/mesh: volumes, surfaces and corners of convex hulls.

    /usr/bin/python3 testdata/reference/hulls.py            write the table beside this script
    /usr/bin/python3 testdata/reference/hulls.py DIRECTORY  write it there, to be compared

By qhull through scipy (Debian python3-scipy). The clouds are invented: seeded random numbers and awkward shapes, in mm, rounded as they are
written, so that a second run gives the same bytes.
"""
import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.spatial import ConvexHull


def ring(n, radius, z):
    a = 2 * np.pi * np.arange(n) / n
    return np.column_stack([radius * np.cos(a), radius * np.sin(a), np.full(n, z)])


def unit(v):
    return v / np.linalg.norm(v, axis=1)[:, None]


def clouds(rng):
    yield "full ball", unit(rng.normal(size=(150, 3))) * 300 * rng.random((150, 1)) ** (1 / 3)
    yield "on a ball", unit(rng.normal(size=(100, 3))) * 200
    yield "box with points on its faces and edges", np.array([[x, y, z] for x in (0, 5, 10) for y in (0, 10, 20) for z in (0, 15, 30)])
    yield "lattice", np.array([[x, y, z] for x in range(4) for y in range(4) for z in range(4)]) * 25.0
    yield "cylinder", np.vstack([ring(48, 100, 0), ring(48, 100, 400)])
    yield "bent pair of tubes", np.vstack([ring(24, 50, 0), ring(24, 50, 300) + [200, 0, 0], ring(24, 30, 150) + [-80, 40, 0]])
    yield "plate, 0.2 mm", np.column_stack([rng.random((80, 2)) * 300, rng.integers(0, 2, 80) * 0.2])
    yield "needle, 0.5 mm", np.column_stack([rng.random(60) * 1000, rng.random((60, 2)) * 0.5])
    yield "far from the origin", unit(rng.normal(size=(60, 3))) * 100 + [9000, -9000, 5000]
    yield "tetrahedron", np.array([[0, 0, 0], [100, 0, 0], [0, 100, 0], [0, 0, 100]])
    yield "twenty clusters", (rng.normal(size=(20, 3)) * 200).repeat(6, axis=0) + rng.normal(size=(120, 3)) * 0.5


def main():
    out = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent)
    rng = np.random.default_rng(20261129)
    lines = [json.dumps({
        "tool": f"qhull 2019.1 by scipy {scipy.__version__}: scipy.spatial.ConvexHull", "command": "/usr/bin/python3 testdata/reference/hulls.py",
        "columns": "name, volume_mm3, surface_mm2, corners (vertices that qhull keeps), points_mm [x, y, z]",
    })]
    for name, points in clouds(rng):
        points = np.round(points, 6)
        hull = ConvexHull(points)
        lines.append(json.dumps({
            "name": name, "volume_mm3": float(f"{hull.volume:.9g}"), "surface_mm2": float(f"{hull.area:.9g}"),
            "corners": len(hull.vertices), "points_mm": points.tolist(),
        }))
    (out / "hulls.jsonl").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()

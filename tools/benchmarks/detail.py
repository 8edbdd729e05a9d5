"""Rows of the detail stage: the base head fitted to scans, at two sizes of base; signed deviation."""

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from canthus.anatomy.skin.base_fit import BaseFit, fit_base
from canthus.anatomy.skin.base_head import own_base
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.deviation import deviation
from canthus.geometry.distances.sampling import places_over
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.goal import Goal
from canthus.geometry.quad_meshes.quads import corner_angles
from numpy.typing import NDArray

from .bench import Bench
from .rows import Row, library, measured, root_mean_square, row, timed, timed_in_turn


@measured("fit-base", sizes=(500_000,))
def fit(bench: Bench, triangles: int) -> Iterator[Row]:
    """The base to a demo head of about so many triangles: 5 s for some 12,000 faces, 20 s for some 50,000.

    The second base is ours subdivided once, taken as if it were another: no detail is put on either.
    """
    grid = min(1.2 * float(np.sqrt(500_000 / triangles)), 2.5)  # a grid of 1.2 mm gives 500,000 triangles
    finer = bench if bench.grid_mm >= grid else dataclasses.replace(bench, grid_mm=grid)
    scan = finer.head
    marks = {name: place for name, place in finer.truth.landmarks.items() if name != "vertex"}
    own = own_base()
    bases = ((own, 5.0), (own.finer(1), 20.0)) if triangles >= 100_000 else ((own, 5.0),)
    for base, limit in bases:
        pairs = {base.landmarks[name]: place for name, place in marks.items()}

        def fitted(base=base, pairs=pairs) -> BaseFit:
            return fit_base(base, Goal(scan), pairs, level=0)

        ours = timed(fitted)
        found = ours.result
        yield _judged(
            row(f"fit-base, {len(base.quads):,} faces", len(scan.triangles), ours), found, scan, pairs
        ).quality("seconds", ours.seconds, bar=limit, absolute=True)


def _judged(line: Row, found: BaseFit, scan: Mesh, pairs: dict[int, np.ndarray]) -> Row:
    """The row with how near the base came, ears and eyes apart, and how even its faces are."""
    head = found.head
    away = ClosestPoint(scan).query(head.vertices)[0]
    skin = ~head.in_region("ears", "eyes") & (found.seen > 0.05)
    apart = np.linalg.norm(head.vertices[list(pairs)] - np.array(list(pairs.values())), axis=1)
    least = np.degrees(corner_angles(head.vertices, head.quads).min(axis=1))
    for name, value, bar in (
        ("landmarks mm", float(apart.max()), 0.5),
        ("faces under 20 deg %", 100 * float((least < 20).mean()), 1.0),
        ("faces folded", float(found.folded), 0.0),
    ):
        line = line.quality(name, value, bar=bar, absolute=True)
    return line.quality("RMS mm", root_mean_square(away[skin]))


@measured("compare", sizes=(1_000_000,))
def compare(bench: Bench, points: int) -> Iterator[Row]:
    """Signed deviation from a head of 500,000 triangles, cold, beside each reference: 1.5 of the faster is asked."""
    finer = bench if bench.grid_mm >= 1.2 else dataclasses.replace(bench, grid_mm=1.2)
    head = finer.head
    chosen, shares = places_over(head, points)
    noise = np.random.default_rng(0).normal(0.0, 0.3, (points, 3))
    asked = np.einsum("nc,nci->ni", shares, head.corners[chosen]) + noise
    for name, theirs, apart in (("open3d", _by_open3d(head, asked), 1e-3), ("libigl", _by_igl(head, asked), 1e-6)):
        if theirs is None:
            yield row(f"compare, beside {name}", points, timed(lambda: deviation(asked, head)[0]))
            continue
        ours, reference = timed_in_turn(lambda: deviation(asked, head)[0], theirs, 1 if name == "libigl" else 2)
        line = row(f"compare, beside {name}", points, ours, f"signed distance ({name})", reference, 1.5)
        gap = float(np.abs(np.abs(ours.result) - np.abs(reference.result)).max())
        yield line.quality("apart from it mm", gap, bar=apart, absolute=True)


Distances = Callable[[], NDArray[np.float64]]


def _by_open3d(head: Mesh, points: NDArray[np.float64]) -> Distances | None:
    """Single precision."""
    open3d: Any = library("open3d")
    if open3d is None:
        return None

    def distances() -> NDArray[np.float64]:
        scene = open3d.t.geometry.RaycastingScene()
        scene.add_triangles(head.vertices.astype(np.float32), head.triangles.astype(np.uint32))
        return np.asarray(scene.compute_signed_distance(points.astype(np.float32)).numpy(), dtype=np.float64)

    return distances


def _by_igl(head: Mesh, points: NDArray[np.float64]) -> Distances | None:
    igl: Any = library("igl")
    if igl is None:
        return None
    kind, triangles = igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL, head.triangles.astype(np.int64)
    return lambda: np.asarray(igl.signed_distance(points, head.vertices, triangles, sign_type=kind)[0])

"""Rows of the detail stage: the base head fitted to scans, at two sizes of base."""

import dataclasses
from collections.abc import Iterator

import numpy as np
from canthus.anatomy.base_fit import BaseFit, fit_base
from canthus.anatomy.base_head import own_base
from canthus.geometry.closest import ClosestPoint
from canthus.geometry.mesh import Mesh
from canthus.geometry.nonrigid import Goal
from canthus.geometry.quads import corner_angles

from .rows import Bench, Row, measured, root_mean_square, row, timed


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

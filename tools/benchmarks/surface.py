"""Rows of the surface stage: close, patch, smooth, reduce."""

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
from canthus.geometry.closest import ClosestPoint
from canthus.geometry.closing import closed_surface
from canthus.geometry.cloud import Cloud
from canthus.geometry.measures import components, edge_faults, genus
from canthus.geometry.mesh import Mesh
from canthus.geometry.neighbours import arranged
from canthus.geometry.normals import plane_normals
from canthus.geometry.sampling import spread_over
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .rows import Bench, Row, Timed, library, measured, root_mean_square, row, timed

NOISE_MM = 0.07
_SEEN_MM = 3.0  # a place of the head counts as seen with a point of the cloud so near


@measured("close")
def close(bench: Bench, points: int) -> Iterator[Row]:
    """An even cloud all round the head, and an uneven one: neck cut open, back half thinned to a tenth."""
    even = bench.cloud(points, NOISE_MM)
    for kind, cloud in (("even", even), ("uneven", uneven(even))):
        yield from _closings(bench, points, kind, with_found_normals(cloud))


def with_found_normals(cloud: Cloud) -> Cloud:
    """The cloud with normals found from its points, as noisy as they come, their signs from the true ones."""
    held = arranged(cloud.points)
    found = plane_normals(held, 16)[0][held.back]
    away = np.einsum("ij,ij->i", found, np.asarray(cloud.normals)) < 0
    return dataclasses.replace(cloud, normals=np.where(away[:, None], -found, found))


def uneven(cloud: Cloud) -> Cloud:
    """The cloud without the lowest 30 mm, and with every tenth point of what lies behind its middle."""
    low, middle = cloud.points[:, 2].min() + 30, np.median(cloud.points[:, 1])
    drawn = np.random.default_rng(1).random(len(cloud)) < 0.1
    return cloud.kept((cloud.points[:, 2] > low) & ((cloud.points[:, 1] < middle) | drawn))


def _closings(bench: Bench, points: int, kind: str, cloud: Cloud) -> Iterator[Row]:
    """Ours beside the screened Poisson of depth 8 and 9; both are given the normals."""
    ours = timed(lambda: closed_surface(cloud.points, cloud.normals))
    mesh = ours.result.mesh
    errors = Errors(bench.head, cloud)
    own = errors.of(mesh)
    for depth, bar in ((8, 1.5), (9, 1.0)):
        theirs = screened_poisson(cloud, depth)
        found = errors.of(theirs.result) if theirs else {}
        line = row(f"close, {kind} cloud", points, ours, f"screened Poisson depth {depth} (open3d)", theirs, bar)
        line = dataclasses.replace(line, operation=f"close, {kind} cloud, beside depth {depth}")
        for name in ("RMS mm", "crease RMS mm"):
            line = line.quality(name, own[name], found.get(name), bar=1.0)
        line = line.quality("farthest off mm", own["farthest off mm"], found.get("farthest off mm"))
        if depth == 8:
            line = line.quality("open or doubled edges", float(_faults(mesh)), bar=0, absolute=True)
            line = line.quality("genus", float(genus(mesh)), bar=0, absolute=True)
            line = line.quality("pieces", float(components(mesh).max() + 1), bar=1, absolute=True)
        yield line


def _faults(mesh: Mesh) -> int:
    faults = edge_faults(mesh)
    return len(faults.open) + len(faults.overused) + len(faults.flipped)


def screened_poisson(cloud: Cloud, depth: int) -> Timed[Mesh] | None:
    """open3d's screened Poisson surface (Kazhdan and Hoppe 2013), None where it is not installed."""
    open3d: Any = library("open3d")
    if open3d is None:
        return None

    def surfaced() -> Any:
        given = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(cloud.points))
        given.normals = open3d.utility.Vector3dVector(cloud.normals)
        return open3d.geometry.TriangleMesh.create_from_point_cloud_poisson(given, depth=depth)[0]

    done = timed(surfaced)
    return Timed(Mesh(np.asarray(done.result.vertices), np.asarray(done.result.triangles)), done.seconds)


class Errors:
    """How far surfaces lie from the head a cloud was taken from.

    A place is a crease where the head's normals turn by more than 25 degrees over 1.5 mm (common practice, no source).
    """

    def __init__(self, head: Mesh, cloud: Cloud) -> None:
        self._truth = ClosestPoint(head)
        self._cloud = cKDTree(cloud.points, balanced_tree=False)
        self._floor = cloud.points[:, 2].min() + 1.0  # what lies lower closes an open neck and is no likeness
        sample = spread_over(head, 0.7)
        gap, _ = self._cloud.query(sample.points, workers=-1)
        self._seen = sample.points[gap < _SEEN_MM]
        self._creases = sample.points[creased(sample.points, np.asarray(sample.normals)) & (gap < 1.5)]

    def of(self, mesh: Mesh) -> dict[str, float]:
        """RMS from what was seen of the head to the surface, of its creases too, and how far off any place near is."""
        surface = ClosestPoint(mesh)
        sample = spread_over(mesh, 0.7).points
        sample = sample[sample[:, 2] > self._floor]
        away, _, _ = self._truth.query(sample)
        gap, _ = self._cloud.query(sample, distance_upper_bound=2 * _SEEN_MM, workers=-1)
        return {
            "RMS mm": root_mean_square(surface.query(self._seen)[0]),
            "crease RMS mm": root_mean_square(surface.query(self._creases)[0]),
            "farthest off mm": float(away[np.isfinite(gap)].max()),
        }


def creased(points: NDArray[np.float64], normals: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which points have a normal near by, 1.5 mm at most, that turns off theirs by over 25 degrees."""
    apart, rows = cKDTree(points).query(points, 12, distance_upper_bound=1.5, workers=-1)
    reached = np.isfinite(apart)
    turned = np.einsum("nki,ni->nk", normals[np.where(reached, rows, 0)], normals)
    sharp: NDArray[np.bool_] = (np.where(reached, turned, 1.0) < np.cos(np.radians(25))).any(axis=1)
    return sharp

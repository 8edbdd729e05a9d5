"""Rows of the surface stage: close, smooth, reduce; those of patch have a module of their own."""

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
from canthus.geometry.cloud import Cloud
from canthus.geometry.clouds.normals import plane_normals
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.measures import components, edge_faults, genus, volume
from canthus.geometry.mending.reducing import farthest_apart, reduced
from canthus.geometry.mending.smoothing import smoothed
from canthus.geometry.mesh import Mesh
from canthus.geometry.neighbours import arranged
from canthus.geometry.surfacing.closing import closed_surface
from canthus.geometry.surfacing.fills import fills
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .bench import Bench
from .rows import Row, Timed, library, measured, root_mean_square, row, timed, timed_in_turn

NOISE_MM = 0.07
_SEEN_MM = 3.0  # a place of the head counts as seen with a point of the cloud so near
_SHORT = 3  # runs of what takes a second, on either side: the first one also pays for loading code


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
    ours = timed(lambda: closed_surface(cloud.points, cloud.normals), 2)
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
            line = line.quality("farthest from data but in fills mm", undeclared(mesh), bar=5.0, absolute=True)
            line = line.quality("fills' bulge % of their width", bulge(mesh), bar=10.0, absolute=True)
            line = line.quality("pieces", float(components(mesh).max() + 1), bar=1, absolute=True)
        yield line


def undeclared(mesh: Mesh) -> float:
    """How far from the data the surface gets outside the fills it declares, millimetres."""
    outside = np.ones(len(mesh.triangles), bool)
    for fill in fills(mesh):
        outside[fill.triangles] = False
    return float(mesh.columns["distance_from_data_mm"][mesh.triangles[outside]].max())


def bulge(mesh: Mesh) -> float:
    """How far a fill stands out of its rim's hull, percent of its width; of those at least 10 mm across, the most."""
    return max((100 * fill.bulge / fill.across for fill in fills(mesh) if fill.across >= 10), default=0.0)


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

    done = timed(surfaced, 2)
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


@measured("smooth", sizes=(0,))
def smooth(bench: Bench, _: int) -> Iterator[Row]:
    """Ten double steps over the demo head with noise, beside two libraries' own; the size is triangles."""
    noise = np.random.default_rng(0).standard_normal(bench.head.vertices.shape) * 0.05
    rough = Mesh(bench.head.vertices + noise, bench.head.triangles)
    ours = timed(lambda: smoothed(rough, 10), _SHORT)
    for reference, theirs in (("Taubin (trimesh)", _trimesh_taubin(rough)), ("Taubin (open3d)", _open3d_taubin(rough))):
        line = row(f"smooth, beside {reference}", len(rough.triangles), ours, reference, theirs, 1.0)
        found = None if theirs is None else abs(volume(theirs.result) / volume(rough) - 1) * 100
        yield line.quality("volume change %", abs(volume(ours.result) / volume(rough) - 1) * 100, found, 0.1, True)


def _trimesh_taubin(rough: Mesh) -> Timed[Mesh] | None:
    trimesh: Any = library("trimesh")
    if trimesh is None:
        return None
    # it changes the mesh it is given: a fresh one for each run
    given = iter([trimesh.Trimesh(rough.vertices, rough.triangles, process=False) for _ in range(_SHORT)])
    done = timed(lambda: trimesh.smoothing.filter_taubin(next(given), lamb=0.5, nu=0.52632, iterations=20), _SHORT)
    return Timed(Mesh(np.asarray(done.result.vertices), rough.triangles), done.seconds)


def _open3d_taubin(rough: Mesh) -> Timed[Mesh] | None:
    open3d: Any = library("open3d")
    if open3d is None:
        return None
    given = open3d.geometry.TriangleMesh(
        open3d.utility.Vector3dVector(rough.vertices), open3d.utility.Vector3iVector(rough.triangles)
    )
    done = timed(lambda: given.filter_smooth_taubin(10, 0.5, -0.52632), _SHORT)
    return Timed(Mesh(np.asarray(done.result.vertices), rough.triangles), done.seconds)


@measured("reduce", sizes=(0,))
def reduce(bench: Bench, _: int) -> Iterator[Row]:
    """The demo head to a fifth of its triangles, beside two libraries; the size is triangles before."""
    head = Mesh(bench.head.vertices, bench.head.triangles)
    wanted = len(head.triangles) // 5
    ours, alone = _both_reduced(head, wanted)
    own = farthest_apart(head, ours.result)
    for reference, theirs in (
        ("fast-simplification alone", alone),
        ("quadric edge collapse (open3d)", _open3d_reduced(head, wanted)),
    ):
        line = row(f"reduce to a fifth, beside {reference}", len(head.triangles), ours, reference, theirs, 1.0)
        found = None if theirs is None else farthest_apart(head, theirs.result)
        yield line.quality("farthest off mm", own, found).quality(
            "open or doubled edges", float(_faults(ours.result)), bar=0, absolute=True
        )


def _both_reduced(head: Mesh, wanted: int) -> tuple[Timed[Mesh], Timed[Mesh] | None]:
    """Ours, and the library under it alone, where it is installed."""
    library_: Any = library("fast_simplification")
    if library_ is None:
        return timed(lambda: reduced(head, wanted), _SHORT), None
    ours, done = timed_in_turn(
        lambda: reduced(head, wanted),
        lambda: library_.simplify(head.vertices, head.triangles, target_count=wanted, agg=5.0),
        _SHORT,
    )
    return ours, Timed(Mesh(done.result[0].astype(np.float64), done.result[1]), done.seconds)


def _open3d_reduced(head: Mesh, wanted: int) -> Timed[Mesh] | None:
    open3d: Any = library("open3d")
    if open3d is None:
        return None
    given = open3d.geometry.TriangleMesh(
        open3d.utility.Vector3dVector(head.vertices), open3d.utility.Vector3iVector(head.triangles)
    )
    done = timed(lambda: given.simplify_quadric_decimation(wanted))
    return Timed(Mesh(np.asarray(done.result.vertices), np.asarray(done.result.triangles)), done.seconds)

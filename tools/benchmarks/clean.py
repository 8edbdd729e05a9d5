"""Rows of the cleaning stage: strays, lashes, layers, noise, normals, judged by the labels of simulated captures."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from canthus.geometry.cleaning.bristles import bristles
from canthus.geometry.cleaning.denoising import denoised
from canthus.geometry.cleaning.layers import merged_layers, spread
from canthus.geometry.cleaning.strays import GOOD, found_strays
from canthus.geometry.cloud import Cloud
from canthus.geometry.clouds.normals import plane_normals
from canthus.geometry.clouds.orientation import along_a_tree
from canthus.geometry.clouds.registration import registered
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.neighbours import arranged
from canthus.geometry.transforms import applied
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from .bench import Bench
from .places import Creases, face, outer_margins, round_ears, round_eyes
from .rows import Row, Timed, library, measured, root_mean_square, row, timed, timed_beside, timed_in_turn

_NO_FAULTS = {"strays": 0.0, "clusters": 0.0, "veils": 0.0, "lashes": 0.0}
_SKIN, _SECOND_SKIN, _LASH = 0, 4, 5  # simulator.settings.LABELS


@measured("cull-strays")
def cull_strays(bench: Bench, points: int) -> Iterator[Row]:
    """2 % strays, 1 % clusters, 1 % veils; beside the plain rule of two deviations over 16 neighbours."""
    cloud = bench.capture(points, strays=0.02, clusters=0.01, veils=0.01)
    open3d: Any = library("open3d")

    def plain_rule() -> NDArray[np.bool_]:
        given = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(cloud.points))
        gone = np.ones(len(cloud), bool)
        gone[np.asarray(given.remove_statistical_outlier(16, 2.0)[1])] = False
        return gone

    ours, theirs = timed_beside(lambda: found_strays(cloud.points), plain_rule if open3d else None, 3)
    label = cloud.columns["label"]
    skin = label == _SKIN
    far = ~skin & (label != _LASH) & (cloud.columns["truth_distance"] > 1.0)
    own_gone = ours.result.kind != GOOD
    fine = skin & (round_eyes(bench, cloud.points, 17.0) | round_ears(bench, cloud.points))
    line = row("cull-strays", points, ours, "2 SD of 16 nearest (open3d)", theirs, bar=1.0)
    for name, which, lost, bar in (
        ("farther than 1 mm left %", far, False, 2.0),
        ("good lost %", skin, True, 0.5),
        ("lost round ears and lids %", fine, True, 1.0),
    ):
        own = 100 * float((own_gone[which] == lost).mean())
        other = 100 * float((theirs.result[which] == lost).mean()) if theirs else None
        line = line.quality(name, own, other, bar, absolute=True)
    yield line


@measured("cull-lashes")
def cull_lashes(bench: Bench, points: int) -> Iterator[Row]:
    """Lash clumps round both eyes, the eyes' places given."""
    cloud = bench.capture(points)
    cloud = cloud.kept(found_strays(cloud.points).kind == GOOD)
    middle = cloud.points.mean(axis=0)

    def found() -> NDArray[np.bool_]:
        lash = np.zeros(len(cloud), bool)
        for eye in bench.truth.eyes.values():
            centre = (eye.upper_margin.mean(axis=0) + eye.lower_margin.mean(axis=0)) / 2
            near = np.flatnonzero(np.linalg.norm(cloud.points - centre, axis=1) < 24.0)
            away = (centre - middle) / np.linalg.norm(centre - middle)
            lash[near] |= bristles(cloud.points[near], centre + 100 * away)
        return lash

    ours = timed(found)
    gone, label = ours.result, cloud.columns["label"]
    skin = label == _SKIN
    margin = outer_margins(bench)
    before = cKDTree(cloud.points[skin]).query(margin)[0]
    after = cKDTree(cloud.points[skin & ~gone]).query(margin)[0]
    line = row("cull-lashes", points, ours).quality(
        "lash points left %", 100 * float((~gone[label == _LASH]).mean()), bar=10.0, absolute=True
    )
    yield line.quality("margin farther from its points mm", float((after - before).mean()), bar=0.2, absolute=True)


@measured("merge-layers")
def merge_layers(bench: Bench, points: int) -> Iterator[Row]:
    """One pass of the face 0.3 to 1.0 mm off, the passes not told; and the same capture without it."""
    clean = bench.capture(points, **_NO_FAULTS)
    depth = Creases(bench)
    usual = spread(face(clean))
    for off in (0.0, 0.3, 0.6, 1.0):
        cloud = bench.capture(points, **_NO_FAULTS, second_skin=off)
        ours = timed(lambda points=cloud.points: merged_layers(points))
        skin = cloud.columns["label"] == _SKIN
        after = Cloud(ours.result.points)
        line = row(f"merge-layers, second skin {off:g} mm off", points, ours)
        line = line.quality("spread over a clean one's", spread(face(after)) / usual, bar=1.2, absolute=True)
        line = line.quality("crease depth lost %", 100 * (1 - depth.kept(after.points)), bar=10.0, absolute=True)
        yield line.quality("of the body's points moved %", 100 * float(ours.result.moved[skin].mean()))


@measured("denoise")
def denoise(bench: Bench, points: int) -> Iterator[Row]:
    """Noise of 0.1 mm, and the crease of the upper lids; beside a bilateral filter given the same neighbourhood."""
    cloud = bench.capture(points, **_NO_FAULTS, noise=0.1)
    ours, theirs = _both_denoised(cloud.points)
    truth, depth = ClosestPoint(bench.head), Creases(bench)
    before = root_mean_square(truth.query(cloud.points)[0])
    found = [None if each is None else each.result for each in (ours, theirs)]
    after = [None if each is None else root_mean_square(truth.query(each)[0]) / before for each in found]
    lost = [None if each is None else 100 * (1 - depth.kept(each)) for each in found]
    line = row("denoise", points, ours, "bilateral filter (open3d)", theirs, bar=1.0)
    line = line.quality("RMS over that before", *after, bar=0.5, absolute=True)
    yield line.quality("crease depth lost %", *lost, bar=10.0, absolute=True)


def _both_denoised(points: NDArray[np.float64]) -> tuple[Timed[NDArray[np.float64]], Timed[NDArray[np.float64]] | None]:
    """Ours, and open3d's smoothing over as many neighbours within the same reach, its range thrice the noise."""
    open3d: Any = library("open3d")
    if open3d is None:
        return timed(lambda: denoised(points).points), None
    reach = denoised(points).reach

    def bilateral() -> NDArray[np.float64]:
        given = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
        search = open3d.geometry.KDTreeSearchParamHybrid(reach, 36)
        return np.asarray(given.smooth_bilateral(search, reach / 2, 0.3).points)

    return timed_in_turn(lambda: denoised(points).points, bilateral, 2)


@measured("register")
def register(bench: Bench, points: int) -> Iterator[Row]:
    """Half the views of a capture 6 degrees and 8 mm astray from the other half; beside two libraries' fine alignment.

    Theirs are given what ours finds out: the grid to work on, and how far apart partners may lie at first.
    """
    cloud = bench.capture(points, **_NO_FAULTS)
    first = cloud.columns["view"] % 2 == 0
    still, body = cloud.points[first], cloud.points[~first]
    astray = np.eye(4)
    astray[:3, :3] = Rotation.from_rotvec(np.radians(6) * np.array([0.6, 0.0, 0.8])).as_matrix()
    astray[:3, 3] = (6.0, -3.0, 4.0)
    moved = applied(astray, body)

    def error(found: NDArray[np.float64]) -> float:
        return root_mean_square(np.linalg.norm(applied(found, moved) - body, axis=1))

    for name, reference, call in (
        ("open3d", "point to plane (open3d)", _open3d_aligned),
        ("small_gicp", "GICP (small-gicp)", _small_gicp_aligned),
    ):
        reference_call = (lambda call=call: call(still, moved)) if library(name) else None
        ours, theirs = timed_beside(lambda: registered([still, moved], search=False)[1].matrix, reference_call)
        line = row(f"register two passes, beside {reference}", points, ours, reference, theirs, bar=1.0)
        yield line.quality("RMS from the true place mm", error(ours.result), error(theirs.result) if theirs else None)


_GRID_MM, _PARTNER_MM = 1.0, 12.0


def _open3d_aligned(still: NDArray[np.float64], moved: NDArray[np.float64]) -> NDArray[np.float64]:
    """open3d's point-to-plane alignment, coarse then fine, on thinned clouds."""
    open3d: Any = library("open3d")
    clouds = [open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points)) for points in (moved, still)]
    given = [cloud.voxel_down_sample(_GRID_MM) for cloud in clouds]
    given[1].estimate_normals(open3d.geometry.KDTreeSearchParamKNN(16))
    matrix, icp = np.eye(4), open3d.pipelines.registration
    for reach in (_PARTNER_MM, 2 * _GRID_MM):
        way = icp.TransformationEstimationPointToPlane()
        matrix = icp.registration_icp(
            given[0], given[1], reach, matrix, way, icp.ICPConvergenceCriteria(1e-9, 1e-9, 60)
        ).transformation
    return np.asarray(matrix)


def _small_gicp_aligned(still: NDArray[np.float64], moved: NDArray[np.float64]) -> NDArray[np.float64]:
    """small-gicp's generalised alignment, coarse then fine, on thinned clouds and two cores."""
    gicp: Any = library("small_gicp")
    matrix = np.eye(4)
    for reach in (_PARTNER_MM, 2 * _GRID_MM):
        matrix = gicp.align(
            still, moved, matrix, "GICP", downsampling_resolution=_GRID_MM, max_correspondence_distance=reach,
            num_threads=2, max_iterations=60,
        ).T_target_source  # fmt: skip
    return np.asarray(matrix)


@measured("orient")
def orient(bench: Bench, points: int) -> Iterator[Row]:
    """Signs carried over found normals; beside the tangent-plane way of open3d on the same ones."""
    cloud = bench.cloud(points)
    held = arranged(cloud.points)
    normals, _ = plane_normals(held, 16)
    true = np.asarray(cloud.normals)[held.rows]
    ours = timed(lambda: along_a_tree(held.points, normals, held.nearest(8)[1]))
    open3d: Any = library("open3d")

    def tangent_planes() -> NDArray[np.float64]:
        given = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(held.points))
        given.normals = open3d.utility.Vector3dVector(normals)
        given.orient_normals_consistent_tangent_plane(8)
        return np.asarray(given.normals)

    theirs = timed(tangent_planes) if open3d else None

    def wrong(found: NDArray[np.float64]) -> float:
        against = float((np.einsum("ij,ij->i", found, true) < 0).mean())
        return 100 * min(against, 1 - against)  # all of them the other way round is one sign, not many

    line = row("orient", points, ours, "tangent planes (open3d)", theirs, bar=0.2)
    yield line.quality("wrong %", wrong(ours.result), wrong(theirs.result) if theirs else None)

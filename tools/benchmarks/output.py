"""Rows of the eyes' and the output stage: lids, sockets and eyes, the hollow, thickness of walls, closest places."""

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.rays import RayCaster
from canthus.geometry.distances.sampling import places_over
from canthus.geometry.measures import triangle_normals
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed, inner_surface
from canthus.geometry.surfacing.isosurface import isosurface
from canthus.steps.eyes.carve_sockets import CarveSockets
from canthus.steps.eyes.make_eyes import MakeEyes
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.eyes.rebuild_lids import RebuildLids
from canthus.steps.workpiece import Landmark, Workpiece
from numpy.typing import NDArray

from .bench import Bench
from .rows import Row, Timed, library, measured, row, timed, timed_in_turn

SCALE, WALL_MM, NARROWEST_MM = 1 / 6, 2.0, 1.0
CELL_MM = WALL_MM / 6  # what the step takes where nothing is set
Distances = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def small_head(bench: Bench) -> Mesh:
    """The demo head at the scale it is printed at."""
    return bench.head.moved(np.diag([SCALE, SCALE, SCALE, 1.0]))


@measured("eyes", sizes=(500_000,))
def eyes(bench: Bench, triangles: int) -> Iterator[Row]:
    """Lids, sockets and eyes on a head of about so many triangles: 5 s at 500,000, on two cores, is what is asked."""
    grid = min(1.2 * float(np.sqrt(500_000 / triangles)), 2.5)  # a grid of 1.2 mm gives 500,000 triangles
    finer = bench if bench.grid_mm >= grid else dataclasses.replace(bench, grid_mm=grid)
    turned = np.diag([SCALE, SCALE, SCALE, 1.0])
    marks = {name: Landmark(tuple(place.tolist())) for name, place in finer.truth.landmarks.items()}
    piece = Workpiece(head=finer.head, landmarks=marks).moved(turned).but(scale=SCALE)
    placed = PlaceEyes().apply(piece)
    ours = timed(lambda: MakeEyes().apply(CarveSockets().apply(RebuildLids().apply(placed))), 2)
    line = row("lids, sockets, eyes", len(finer.head.triangles), ours)
    yield line.quality("seconds", ours.seconds, bar=5.0, absolute=True)


@measured("hollow", sizes=(0,))
def hollow(bench: Bench, _: int) -> Iterator[Row]:
    """The inner face beside signed distances on a whole grid of the same step; the size is the head's triangles."""
    head = small_head(bench)
    ours = timed(lambda: inner_surface(head, WALL_MM, NARROWEST_MM, CELL_MM))
    own = wall_errors(head, ours.result)
    for reference, distances in (
        ("signed distance on the grid (open3d)", _by_open3d(head)),
        ("signed distance on the grid (libigl)", _by_igl(head)),
    ):
        theirs = None if distances is None else timed(lambda each=distances: on_a_grid(head, each))
        found = wall_errors(head, theirs.result) if theirs else {}
        line = row(f"hollow, beside {reference[-8:].strip('( )')}", len(head.triangles), ours, reference, theirs, 0.5)
        line = line.quality("wall error mean, voxels", own["mean"], found.get("mean"), bar=0.5, absolute=True)
        yield line.quality("thinner than set %", own["thinner"], found.get("thinner"), bar=5.0, absolute=True)


def on_a_grid(head: Mesh, distances: Distances) -> Mesh:
    """The surface at the wall's depth from distances, negative inside, at every node of a grid over the head."""
    low = head.vertices.min(axis=0)
    axes = [low[k] + CELL_MM * np.arange(int(np.ptp(head.vertices[:, k]) / CELL_MM) + 2) for k in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    field = distances(nodes.reshape(-1, 3)).reshape(nodes.shape[:3])
    return isosurface(field, -WALL_MM, low, CELL_MM)


def _by_open3d(head: Mesh) -> Distances | None:
    open3d: Any = library("open3d")
    if open3d is None:
        return None

    def distances(points: NDArray[np.float64]) -> NDArray[np.float64]:
        given = open3d.core.Tensor(points.astype(np.float32))
        return np.asarray(_scene(open3d, head).compute_signed_distance(given).numpy(), dtype=np.float64)

    return distances


def _scene(open3d: Any, mesh: Mesh) -> Any:
    scene = open3d.t.geometry.RaycastingScene()
    scene.add_triangles(mesh.vertices.astype(np.float32), mesh.triangles.astype(np.uint32))
    return scene


def _by_igl(head: Mesh) -> Distances | None:
    igl: Any = library("igl")
    if igl is None:
        return None
    kind = igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
    triangles = head.triangles.astype(np.int64)
    return lambda points: np.asarray(igl.signed_distance(points, head.vertices, triangles, sign_type=kind)[0])


def wall_errors(head: Mesh, inner: Mesh) -> dict[str, float]:
    """Mean error of the wall in steps of the grid, and by how many per cent its least falls short, at all vertices.

    Where the passage is too narrow for resin the wall is thicker on purpose: told by being over a step off.
    """
    wall, _, _ = ClosestPoint(head).query(inner.vertices)
    kept = wall < WALL_MM + CELL_MM
    return {
        "mean": float(np.abs(wall[kept] - WALL_MM).mean() / CELL_MM),
        "thinner": float(100 * max(1 - wall.min() / WALL_MM, 0.0)),
    }


@measured("thickness", sizes=(200_000,))
def thickness(bench: Bench, rays: int) -> Iterator[Row]:
    """Rays straight inwards from all over the head, cold: as far as they go, and as far as walls are looked for."""
    head = small_head(bench)
    yield from _thickness(head, rays, (("thickness", np.inf), ("thickness up to 4 mm", 4.0)))
    shell = hollowed(head, inner_surface(head, WALL_MM, NARROWEST_MM, CELL_MM))
    yield from _thickness(shell, rays, (("thickness, hollow head", np.inf),))


def _thickness(head: Mesh, rays: int, asked: tuple[tuple[str, float], ...]) -> Iterator[Row]:
    chosen, shares = places_over(head, rays)
    origins = np.einsum("nc,nci->ni", shares, head.corners[chosen])
    inwards = -triangle_normals(head)[chosen]
    starts = chosen.astype(np.int32)
    open3d: Any = library("open3d")

    def cast() -> NDArray[np.float64]:
        beyond = 1e-4  # the start lies on a triangle, which open3d would meet
        given = np.concatenate([origins + beyond * inwards, inwards], axis=1).astype(np.float32)
        met = _scene(open3d, head).cast_rays(open3d.core.Tensor(given))["t_hit"].numpy()
        return np.asarray(met, dtype=np.float64) + beyond

    for name, farthest in asked:
        ours, theirs = _in_turn(
            lambda far=farthest: RayCaster(head).first_hit(origins, inwards, starts, farthest=far, leaving=True)[0],
            cast if open3d is not None else None,
        )
        line = row(name, rays, ours, "rays, not bundled (open3d)", theirs, bar=1.3)
        if theirs is not None:
            near = np.isfinite(ours.result) & (theirs.result < farthest)
            apart = np.abs(ours.result[near] - theirs.result[near])
            line = line.quality("apart from it mm, 99.9 %", float(np.quantile(apart, 0.999)), bar=0.02, absolute=True)
        yield line


def _in_turn(
    ours: Callable[[], NDArray[np.float64]], theirs: Callable[[], NDArray[np.float64]] | None
) -> tuple[Timed[NDArray[np.float64]], Timed[NDArray[np.float64]] | None]:
    """Both timed in turn where there is something to compare with."""
    return timed_in_turn(ours, theirs, 3) if theirs is not None else (timed(ours, 3), None)


@measured("closest", sizes=(1_000_000,))
def closest(bench: Bench, points: int) -> Iterator[Row]:
    """Closest places on the head for points about it, cold."""
    head = bench.head
    chosen, shares = places_over(head, points)
    noise = np.random.default_rng(0).standard_normal((points, 3))
    asked = np.einsum("nc,nci->ni", shares, head.corners[chosen]) + noise
    ours = timed(lambda: ClosestPoint(head).query(asked)[0])
    theirs = _closest_by_open3d(head, asked)
    line = row("closest place", points, ours, "closest points (open3d)", theirs)
    if theirs is not None:
        line = line.quality(
            "apart from it mm", float(np.abs(ours.result - theirs.result).max()), bar=0.001, absolute=True
        )
    yield line


def _closest_by_open3d(head: Mesh, asked: NDArray[np.float64]) -> Timed[NDArray[np.float64]] | None:
    open3d: Any = library("open3d")
    if open3d is None:
        return None

    def found() -> NDArray[np.float64]:
        given = open3d.core.Tensor(asked.astype(np.float32))
        place = _scene(open3d, head).compute_closest_points(given)["points"].numpy()
        return np.asarray(np.linalg.norm(asked - place, axis=1))

    return timed(found)

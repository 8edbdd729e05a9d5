"""A labelled capture of a head: every view with its faults, put together."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from canthus.geometry.cloud import Cloud
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.mesh import Mesh
from numpy.typing import NDArray

from . import faults
from .settings import CLUSTER, LASH, SECOND_SKIN, SKIN, STRAY, UNITS, VEIL, Settings
from .views import Seen, View, seen_from, stands

FIRST_PITCH = 0.008
"""Tangent between rays of the first exposure, which tells the pitch that gives the points asked for."""


@dataclass(frozen=True, eq=False)
class _Batch:
    """Points of one kind from one view, in the head's own frame."""

    points: NDArray[np.float32]
    colours: NDArray[np.uint8]
    view: int
    label: int
    truth_distance: NDArray[np.float32] | None = None


def simulate(mesh: Mesh, settings: Settings, truth: Any = None) -> Cloud:
    """A labelled capture of a watertight head.

    Parameters
    ----------
    mesh : the head, face to -Y and up +Z, millimetres; its colours are seen too
    settings : how many points, which faults; the same settings give the same capture
    truth : what is known of the eyes (`truth.eyes`), for lashes; None leaves them out

    Returns
    -------
    Cloud of exactly `settings.points` points in `settings.unit`, in random order, with colours, the scanner's
    `sensors`, and the columns `view` (int16, row of `sensors`; strays and the like belong to a view too), `label`
    (uint8, number in `settings.LABELS`) and `truth_distance` (float32, millimetres to the true skin, unsigned).
    """
    rng = np.random.default_rng(settings.seed)
    views = stands(mesh, settings.views, settings.distance, rng)
    clean = settings.points - sum(_counts(settings, truth).values())
    batches = _exposures(mesh, views, settings, clean, rng)
    batches += _additions(mesh, settings, _counts(settings, truth), truth, rng)
    return _put_together(mesh, batches, views, settings, rng)


def raw_frame(settings: Settings) -> NDArray[np.float64]:
    """(4, 4) transform from the head's own frame in millimetres to the capture's frame and unit."""
    matrix = np.eye(4)
    if not settings.posed:
        rng = np.random.default_rng([settings.seed, 1])
        turn, _ = np.linalg.qr(rng.standard_normal((3, 3)))
        matrix[:3, :3] = turn * np.sign(np.linalg.det(turn))
        matrix[:3, 3] = rng.uniform(-300, 300, 3)
    matrix[:3] *= UNITS[settings.unit]
    return matrix


def _counts(settings: Settings, truth: Any) -> dict[int, int]:
    shares = {STRAY: settings.strays, CLUSTER: settings.clusters, VEIL: settings.veils, LASH: settings.lashes}
    if truth is None:
        shares[LASH] = 0.0
    return {label: round(share * settings.points) for label, share in shares.items()}


def _exposures(
    mesh: Mesh, views: list[View], settings: Settings, wanted: int, rng: np.random.Generator
) -> list[_Batch]:
    """The skin as all views see it, trimmed to exactly the wanted number of points."""
    normals = _triangle_normals(mesh)
    cut = _level_cut(mesh, normals, settings.open_below)
    pitch = FIRST_PITCH
    for margin in (0.97, 0.985, 0.97, 0.94):
        taken = [_exposed(number, view, mesh, normals, cut, pitch, settings, rng) for number, view in enumerate(views)]
        skin = [batch for batch, _ in taken]
        total = sum(len(batch.points) for batch in skin)
        if wanted <= total <= 1.3 * wanted:
            break
        pitch *= np.sqrt(total / wanted) * margin
    if total < wanted:
        raise ValueError(f"the views see {total:,} points of {wanted:,}: ask for fewer, or for less dropout")
    keep = np.zeros(total, bool)
    keep[rng.choice(total, wanted, replace=False)] = True
    starts = np.cumsum([0, *(len(batch.points) for batch in skin)])
    kept = [_chosen(batch, keep[a:b]) for batch, a, b in zip(skin, starts[:-1], starts[1:], strict=True)]
    return kept + [veil for _, veil in taken]


def _chosen(batch: _Batch, which: NDArray[np.bool_]) -> _Batch:
    return replace(
        batch, points=batch.points[which], colours=batch.colours[which], truth_distance=batch.truth_distance[which]
    )


def _level_cut(mesh: Mesh, normals: NDArray[np.float64], height: float) -> NDArray[np.bool_]:
    """Which triangles are the cut a bust stands on: near its lowest point, and looking down."""
    low = mesh.vertices[:, 2].min() + height
    return (mesh.vertices[mesh.triangles[:, 0], 2] < low) & (normals[:, 2] < -0.7)


def _exposed(
    number: int,
    view: View,
    mesh: Mesh,
    normals: NDArray[np.float64],
    cut: NDArray[np.bool_],
    pitch: float,
    settings: Settings,
    rng: np.random.Generator,
) -> tuple[_Batch, _Batch]:
    """The skin one view sees, and the veils at its edges."""
    everything = seen_from(view, mesh, normals, pitch, float(rng.random()))
    everything = everything.kept(~cut[everything.triangle])
    strung, lean = faults.veils(everything, view.sensor, pitch, _share(settings, number), rng)
    veil = _Batch(strung.astype(np.float32), _colours(mesh, everything, rng)[lean], number, VEIL)
    seen = _seen_well(everything, settings, rng)
    colours = _colours(mesh, seen, rng)
    error = faults.noise_along_rays(seen.facing, settings.noise, rng)
    points = view.sensor + seen.rays * (seen.distance + error)[:, None]
    away = np.abs(error * seen.facing)
    label = SKIN
    if settings.second_skin > 0 and number == 0:
        points = faults.misplaced(points, settings.second_skin, view.axes[2], rng)
        label = SECOND_SKIN
        away = _distances(mesh, points)
    kept = faults.kept_in_dark(points, colours, settings.dropout, rng)
    skin = _Batch(points[kept].astype(np.float32), colours[kept], number, label, away[kept].astype(np.float32))
    return skin, veil


def _share(settings: Settings, number: int) -> int:
    """Veil points of one view."""
    return len(np.array_split(np.arange(round(settings.veils * settings.points)), settings.views)[number])


def _seen_well(seen: Seen, settings: Settings, rng: np.random.Generator | None = None) -> Seen:
    """Without what lies too flat to the rays; the last degrees before the limit go by and by."""
    limit = np.cos(np.radians(settings.grazing))
    chance = np.clip((seen.facing - limit) / 0.15, 0, 1)
    return seen.kept(chance > (0.5 if rng is None else rng.random(len(chance))))


def _colours(mesh: Mesh, seen: Seen, rng: np.random.Generator) -> NDArray[np.uint8]:
    if mesh.colours is None:
        return np.full((len(seen.cells), 3), 180, np.uint8)
    blended = np.einsum("nc,nck->nk", seen.weights, mesh.colours[mesh.triangles[seen.triangle]].astype(float))
    lit = blended * (0.72 + 0.28 * seen.facing[:, None]) + rng.normal(0, 3.0, blended.shape)
    return np.clip(np.rint(lit), 0, 255).astype(np.uint8)


def _additions(mesh: Mesh, settings: Settings, counts: dict[int, int], truth: Any,
               rng: np.random.Generator) -> list[_Batch]:  # fmt: skip
    """What no skin gave: strays, clusters, lashes."""
    normals = _triangle_normals(mesh)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    rows = rng.integers(len(mesh.triangles), size=4096)
    middles = mesh.corners[rows].mean(axis=1)
    grey = np.array([150, 140, 132])
    kinds = {
        STRAY: faults.strays(low, high, counts[STRAY], rng),
        CLUSTER: faults.clusters(middles, normals[rows], counts[CLUSTER], rng),
        LASH: faults.lashes(truth.eyes, counts[LASH], rng) if counts[LASH] else np.empty((0, 3)),
    }
    batches = []
    for label, points in kinds.items():
        dark = np.array([50, 38, 30]) if label == LASH else grey
        colours = np.clip(dark + rng.normal(0, 18, (len(points), 3)), 0, 255).astype(np.uint8)
        for number, part in enumerate(np.array_split(rng.permutation(len(points)), settings.views)):
            number = int(rng.integers(min(3, settings.views))) if label == LASH else number
            batches.append(_Batch(points[part].astype(np.float32), colours[part], number, label))
    return batches


def _put_together(
    mesh: Mesh, batches: list[_Batch], views: list[View], settings: Settings, rng: np.random.Generator
) -> Cloud:
    total = sum(len(batch.points) for batch in batches)
    order = rng.permutation(total)
    points = np.concatenate([batch.points for batch in batches])[order]
    label = np.concatenate([np.full(len(batch.points), batch.label, np.uint8) for batch in batches])[order]
    view = np.concatenate([np.full(len(batch.points), batch.view, np.int16) for batch in batches])[order]
    colours = np.concatenate([batch.colours for batch in batches])[order]
    known = [
        np.full(len(b.points), np.nan, np.float32) if b.truth_distance is None else b.truth_distance for b in batches
    ]
    away = np.concatenate(known)[order]
    unknown = np.flatnonzero(np.isnan(away))
    away[unknown] = _distances(mesh, points[unknown].astype(np.float64))
    columns = {"view": view, "label": label, "truth_distance": away}
    cloud = Cloud(points, None, colours, columns, np.array([view.sensor for view in views]))
    return cloud.moved(raw_frame(settings))


def _distances(mesh: Mesh, points: NDArray[np.float64]) -> NDArray[np.float32]:
    if not len(points):
        return np.empty(0, np.float32)
    return ClosestPoint(mesh).query(points)[0].astype(np.float32)


def _triangle_normals(mesh: Mesh) -> NDArray[np.float64]:
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)

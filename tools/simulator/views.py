"""Where the scanner stands, and what it sees from there: a grid of rays, each meeting the nearest skin."""

from dataclasses import dataclass, replace

import numpy as np
from canthus.geometry.mesh import Mesh
from numpy.typing import NDArray

from .raster import barycentric, seen_triangles

# Azimuth (0 before the face, 90 at the sitter's left) and height in degrees: the face first, as one does it.
_STANDS = (
    (0, 4), (40, 6), (-40, 6), (80, 8), (-80, 8), (0, -38), (180, 6), (125, 8), (-125, 8), (0, 52), (180, 48),
    (60, -30), (-60, -30), (90, 50), (-90, 50), (20, 25), (-20, 25), (150, -25), (-150, -25), (0, 85),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class View:
    """One exposure: scanner position, axes of its image (down, aside, towards the scanner), middle of the head."""

    sensor: NDArray[np.float64]
    axes: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Seen:
    """Where rays of a view met the mesh: cell, ray, distance along it, triangle, corner weights, facing (cosine)."""

    shape: tuple[int, int]
    cells: NDArray[np.int64]
    rays: NDArray[np.float64]
    distance: NDArray[np.float64]
    triangle: NDArray[np.int64]
    weights: NDArray[np.float64]
    facing: NDArray[np.float64]

    def kept(self, which: NDArray[np.bool_]) -> "Seen":
        """Only the chosen rays."""
        names = ("cells", "rays", "distance", "triangle", "weights", "facing")
        return replace(self, **{name: getattr(self, name)[which] for name in names})


def stands(mesh: Mesh, count: int, distance: float, rng: np.random.Generator) -> list[View]:
    """The scanner's places around a head that faces -Y, each a little off its mark as a hand holds it."""
    middle = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    views = []
    for number in range(count):
        azimuth, height = (
            _STANDS[number % len(_STANDS)] if number < len(_STANDS) else rng.uniform((-180, -30), (180, 60))
        )
        azimuth, height = np.radians([azimuth + rng.normal(0, 3), min(height + rng.normal(0, 2), 86)])
        towards = np.array([np.sin(azimuth) * np.cos(height), -np.cos(azimuth) * np.cos(height), np.sin(height)])
        aside = np.cross([0.0, 0.0, 1.0], towards)
        aside /= np.linalg.norm(aside)
        axes = np.stack([-np.cross(towards, aside), aside, towards])
        views.append(View(middle + towards * distance * rng.uniform(0.94, 1.06), axes))
    return views


def seen_from(view: View, mesh: Mesh, normals: NDArray[np.float64], pitch: float, jitter: float) -> Seen:
    """What one view sees.

    Parameters
    ----------
    normals : (m, 3) unit normals of the triangles
    pitch : angle between neighbouring rays, as a tangent
    jitter : shift of the grid of rays, a fraction of the pitch
    """
    local = (mesh.vertices - view.sensor) @ view.axes.T
    ahead = -local[:, 2]
    image = local[:, :2] / ahead[:, None] / pitch
    low = np.floor(image.min(axis=0)) - 1 + jitter
    shape = tuple(int(n) for n in np.ceil(image.max(axis=0) - low) + 2)
    # Skin turned away is behind other skin of a closed head: leaving it out changes nothing and halves the work.
    towards = np.flatnonzero(np.einsum("mk,mk->m", mesh.vertices[mesh.triangles[:, 0]] - view.sensor, normals) < 0)
    triangles = seen_triangles(image - low, ahead, mesh.triangles[towards], shape)
    cells = np.flatnonzero(triangles.ravel() >= 0)
    triangle = towards[triangles.ravel()[cells]]
    places = (np.stack(np.unravel_index(cells, shape), 1) + low) * pitch
    rays = np.column_stack([places, -np.ones(len(places))]) @ view.axes
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    corners = mesh.vertices[mesh.triangles[triangle]]
    facing = -np.einsum("nk,nk->n", rays, normals[triangle])
    distance = -np.einsum("nk,nk->n", corners[:, 0] - view.sensor, normals[triangle]) / np.maximum(facing, 1e-6)
    weights = barycentric(
        (image - low)[mesh.triangles[triangle]], np.stack(np.unravel_index(cells, shape), 1).astype(float)
    )
    sound = (facing > 0.02) & np.isfinite(weights).all(axis=1)
    return Seen(shape, cells[sound], rays[sound], distance[sound], triangle[sound], weights[sound], facing[sound])

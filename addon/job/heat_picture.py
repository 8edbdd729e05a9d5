"""A shape in the colours of its deviation, seen from three sides, over the colours' legend: one picture."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from ..geometry.cloud import Cloud
from ..geometry.mesh import Mesh
from ..geometry.transforms import rotation
from ..geometry.views.depth_map import depth_map
from .heat_map import cool_warm, legend

TURNS = (-60.0, 0.0, 60.0)
"""Degrees the shape is turned about the upright before it is looked at from the front, which is -y."""
_HIGH, _EDGE = 420, 12  # pixels of a view, and left free round it
_MOST = 200_000  # points of a cloud that are drawn; of more, evenly many are left out
_DIMMEST = 0.55  # of a colour where the surface is seen from its edge

Picture = NDArray[np.uint8]


def heat_picture(shape: Mesh | Cloud, values: NDArray[np.float64], reach: float) -> Picture:
    """(h, w, 3) picture of a shape by its deviation, with the legend below.

    Parameters
    ----------
    shape : face towards -y and up +z where it is a posed head
    values : (n,) signed deviations of its vertices or points, mm
    reach : millimetres at which the colours are full
    """
    points = shape.vertices if isinstance(shape, Mesh) else shape.points
    kept = np.arange(len(points))
    if not isinstance(shape, Mesh) and len(points) > _MOST:
        kept = kept[:: len(points) // _MOST + 1]
    triangles = shape.triangles if isinstance(shape, Mesh) and len(shape.triangles) else None
    colours = cool_warm(values[kept] / reach)
    views = [_view(points[kept] @ rotation((0, 0, 1), np.radians(turn)).T, triangles, colours) for turn in TURNS]
    below = legend(values, reach)
    wide = max(sum(view.shape[1] for view in views), below.shape[1])
    return np.vstack([_centred(np.hstack(views), wide), _centred(below, wide)])


def _view(points: NDArray[np.float64], triangles: NDArray[np.int32] | None, colours: Picture) -> Picture:
    """The shape from the front, as high as all views are, shaded by how it faces."""
    places = np.stack([points[:, 0], points[:, 2], -points[:, 1]], axis=1)
    low, high = places[:, :2].min(axis=0), places[:, :2].max(axis=0)
    pixel = max(float(high[1] - low[1]), float(high[0] - low[0]) / 1.5, 1e-9) / (_HIGH - 2 * _EDGE)
    low, high = low - _EDGE * pixel, high + _EDGE * pixel
    if triangles is None:
        depths, rows = _dots(places, low, high, pixel)
    else:
        depths = depth_map(places, triangles, (low[0], low[1]), (high[0], high[1]), pixel).depths
        rows = _nearest(places, depths, low, pixel)
    picture = np.full((*depths.shape, 3), 255, np.uint8)
    seen = rows >= 0
    picture[seen] = np.rint(colours[rows[seen]] * _shade(depths, pixel)[seen, None]).astype(np.uint8)
    return _as_high(picture[::-1])


def _nearest(
    places: NDArray[np.float64], depths: NDArray[np.float64], low: NDArray[np.float64], pixel: float
) -> NDArray[np.int64]:
    """(rows, columns) the vertex nearest what each pixel sees, -1 where it sees nothing."""
    up, across = np.nonzero(np.isfinite(depths))
    there = np.stack([low[0] + pixel * across, low[1] + pixel * up, depths[up, across]], axis=1)
    found = np.full(depths.shape, -1, np.int64)
    found[up, across] = cKDTree(places).query(there, workers=-1)[1]
    return found


def _dots(
    places: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], pixel: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(rows, columns) depths and foremost points, each as wide as they lie apart; NaN and -1 where there is none."""
    columns, rows = (np.ceil((high - low) / pixel).astype(int) + 1).tolist()
    order = np.argsort(places[:, 2], kind="stable")  # what is written last stays: the foremost
    column, row = (np.rint((places[order, k] - low[k]) / pixel).astype(np.int64) for k in (0, 1))
    aside = np.arange(-(reach := _half_width(places, pixel)), reach + 1)
    at = (row[:, None, None] + aside[:, None]).clip(0, rows - 1) * columns + (column[:, None, None] + aside).clip(
        0, columns - 1
    )
    found = np.full(rows * columns, -1, np.int64)
    found[at.ravel()] = np.repeat(order, len(aside) ** 2)
    depths = np.where(found >= 0, places[found, 2], np.nan)
    return depths.reshape(rows, columns), found.reshape(rows, columns)


def _half_width(places: NDArray[np.float64], pixel: float) -> int:
    """Pixels to each side of a point's own that its dot covers, so that dots meet."""
    some = places[:: max(1, len(places) // 2000)]
    apart = np.median(cKDTree(places).query(some, min(7, len(places)), workers=-1)[0][:, -1])
    return int(np.clip(np.ceil(0.75 * apart / pixel), 1, _EDGE - 2))


def _shade(depths: NDArray[np.float64], pixel: float) -> NDArray[np.float64]:
    """(rows, columns) light, 1 where the surface faces the eye."""
    seen = np.isfinite(depths)
    filled = depths[tuple(ndimage.distance_transform_edt(~seen, return_distances=False, return_indices=True))]
    smooth = ndimage.gaussian_filter(filled, 1.0)
    steep = np.hypot(*np.gradient(smooth, pixel))
    light: NDArray[np.float64] = _DIMMEST + (1.0 - _DIMMEST) / np.sqrt(1.0 + steep**2)
    return light


def _as_high(picture: Picture) -> Picture:
    """The picture with white over and under it until it is as high as every view."""
    lacking = max(0, _HIGH - len(picture))
    return np.pad(picture, ((lacking // 2, lacking - lacking // 2), (0, 0), (0, 0)), constant_values=255)[:_HIGH]


def _centred(picture: Picture, wide: int) -> Picture:
    lacking = wide - picture.shape[1]
    return np.pad(picture, ((0, 0), (lacking // 2, lacking - lacking // 2), (0, 0)), constant_values=255)

"""The point cloud a scanner gives."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from .directions import unit
from .errors import BadCloud


@dataclass(frozen=True, eq=False)
class Cloud:
    """Points with what the scanner knew of each. Treat the arrays as read-only: operations return new clouds.

    Parameters
    ----------
    points : (n, 3) float64 array, millimetres
    normals : (n, 3) float64 array of unit vectors pointing out of the body, or None
    colours : (n, 3) uint8 array, sRGB, or None
    columns : name to (n,) array, one value a point; `view` holds the row of `sensors` that saw it
    sensors : (k, 3) float64 array, where the scanner stood for each view, or None

    Raises
    ------
    BadCloud
        Wrong shapes or a coordinate that is not finite.
    """

    points: NDArray[np.float64]
    normals: NDArray[np.float64] | None = None
    colours: NDArray[np.uint8] | None = None
    columns: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)
    sensors: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        points = np.ascontiguousarray(self.points, dtype=np.float64).reshape(-1, 3)
        if not np.isfinite(points).all():
            where = int(np.argmin(np.isfinite(points).all(axis=1)))
            raise BadCloud(f"point {where} is not a finite point: remove it first")
        object.__setattr__(self, "points", points)
        for name, values in {"normals": self.normals, "colours": self.colours, **self.columns}.items():
            if values is not None and len(values) != len(points):
                raise BadCloud(f"{name} holds {len(values)} rows for {len(points)} points")

    def __len__(self) -> int:
        return len(self.points)

    def kept(self, which: NDArray[np.generic]) -> "Cloud":
        """The chosen points (mask or rows), with all that belongs to them."""
        return Cloud(
            self.points[which],
            None if self.normals is None else self.normals[which],
            None if self.colours is None else self.colours[which],
            {name: values[which] for name, values in self.columns.items()},
            self.sensors,
        )

    def moved(self, matrix: NDArray[np.float64]) -> "Cloud":
        """The cloud under a (4, 4) transform; normals stay of unit length."""
        linear = matrix[:3, :3]
        normals = self.normals
        if normals is not None:
            normals = unit(normals @ np.linalg.inv(linear))
        sensors = None if self.sensors is None else self.sensors @ linear.T + matrix[:3, 3]
        return replace(self, points=self.points @ linear.T + matrix[:3, 3], normals=normals, sensors=sensors)

    def with_column(self, name: str, values: NDArray[np.generic]) -> "Cloud":
        """The cloud with one more value a point, replacing a column of that name."""
        return replace(self, columns={**self.columns, name: values})


def joined(clouds: Sequence[Cloud]) -> Cloud:
    """One cloud of several passes that already lie in one frame.

    Normals and colours are kept where every pass has them; each pass becomes a `view` of its own unless it
    already has views, which are then numbered on.
    """
    if not clouds:
        raise BadCloud("no passes to join: give at least one")
    views, sensors, next_view = [], [], 0
    for cloud in clouds:
        own = np.asarray(cloud.columns.get("view", np.zeros(len(cloud))), dtype=np.int32)
        views.append(own + next_view)
        next_view += int(own.max(initial=0)) + 1
        if cloud.sensors is not None:
            sensors.append(cloud.sensors)
    shared = set.intersection(*(set(cloud.columns) for cloud in clouds)) - {"view"}
    columns = {name: np.concatenate([cloud.columns[name] for cloud in clouds]) for name in sorted(shared)}
    normals = [cloud.normals for cloud in clouds if cloud.normals is not None]
    colours = [cloud.colours for cloud in clouds if cloud.colours is not None]
    return Cloud(
        np.concatenate([cloud.points for cloud in clouds]),
        np.concatenate(normals) if len(normals) == len(clouds) else None,
        np.concatenate(colours) if len(colours) == len(clouds) else None,
        {**columns, "view": np.concatenate(views)},
        np.concatenate(sensors) if sum(map(len, sensors)) == next_view else None,
    )

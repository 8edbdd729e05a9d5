"""A surface as seen from a point inside it: how far out it lies in every direction ahead."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from .depth_map import DepthMap, depth_map


@dataclass(frozen=True, eq=False)
class InsideView:
    """What is seen from `centre`. The rows of `frame` are across, up and ahead; `picture` holds inverse depths."""

    centre: NDArray[np.float64]
    frame: NDArray[np.float64]
    picture: DepthMap

    def distances(self, directions: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance to the surface along (n, 3) unit directions; NaN where none is seen."""
        across, up, ahead = (directions @ self.frame.T).T
        forward = np.where(ahead > 0, ahead, np.nan)
        nearness = self.picture.at(across / forward, up / forward)
        return np.asarray(1.0 / (nearness * forward))


def view_from_inside(
    mesh: Mesh,
    centre: NDArray[np.float64],
    ahead: NDArray[np.float64],
    reach: float,
    *,
    pixel: float = 0.02,
    widest: float = 3.0,
    nearest: float = 0.0,
    outer: bool = False,
    last: bool = False,
) -> InsideView:
    """Look out of a solid from a point within it.

    Parameters
    ----------
    mesh : any mesh; both sides of its triangles are seen, those that reach behind the look-out are not
    centre : (3,) where the look-out stands
    ahead : (3,) unit vector, the middle of the view
    reach : nothing farther away than this is looked at
    pixel : tangent of the angle between neighbouring rays in the middle of the view
    widest : tangent of the largest angle to either side; 3 is 71 degrees
    nearest : nothing nearer than this is looked at
    outer : only triangles that face away are seen, as a solid's skin does from within: then the look-out may stand
        behind a thin solid as well
    last : what is seen is the last surface within reach instead of the first

    Notes
    -----
    Gnomonic projection: over the plane one unit ahead, the inverse of a plane's depth is linear, so a picture of
    inverse depths is exact at the middle of each pixel.
    """
    frame = frame_about(ahead)
    away = mesh.vertices - centre
    squared = (away**2).sum(axis=1)
    near = (squared < reach**2) & (squared >= nearest**2)
    views = away @ frame.T
    near &= views[:, 2] > 0.05 * reach
    triangles = mesh.triangles[near[mesh.triangles].all(axis=1)]
    if outer:
        a, b, c = away[triangles].transpose(1, 0, 2)
        triangles = triangles[np.einsum("ij,ij->i", a, np.cross(b, c)) > 0]
    forward = np.where(near, views[:, 2], 1.0)[:, None]
    sign = -1.0 if last else 1.0
    places = np.hstack([views[:, :2] / forward, sign / forward])
    used, numbered = np.unique(triangles, return_inverse=True)
    picture = depth_map(
        places[used], numbered.reshape(-1, 3).astype(np.int32), (-widest, -widest), (widest, widest), pixel
    )
    return InsideView(centre, frame, replace(picture, depths=sign * picture.depths))


def frame_about(ahead: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3, 3) rows across, up and ahead, right-handed; up as near to +z as it can be."""
    ahead = ahead / np.linalg.norm(ahead)
    helper = np.array([0.0, 0.0, 1.0]) if abs(ahead[2]) < 0.9 else np.array([0.0, 1.0, 0.0])
    across = np.cross(helper, ahead)
    across /= np.linalg.norm(across)
    return np.stack([across, np.cross(ahead, across), ahead])

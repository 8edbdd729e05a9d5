"""Smoothing that takes out ripples and leaves the size alone."""

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array, diags_array

from .errors import BadSetting
from .measures import area, is_watertight, volume
from .mesh import Mesh
from .normals import vertex_normals
from .progress import SILENT, Progress


def averaging(mesh: Mesh) -> csr_array:
    """(n, n) float32 sparse matrix that takes values at the vertices to the mean over each vertex's neighbours."""
    ends = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = len(mesh.vertices)
    start, end = np.concatenate([ends, ends[:, ::-1]]).T
    links = csr_array((np.ones(len(start), np.float32), (start, end)), shape=(size, size))
    links.data[:] = 1.0  # an edge counts once, from whichever side it was met
    count = np.asarray(links.sum(axis=1)).ravel()
    return (diags_array(1.0 / np.maximum(count, 1.0)) @ links).astype(np.float32).tocsr()


def inflating_factor(strength: float, pass_band: float) -> float:
    """The negative factor that undoes the shrinking of `strength` for all waves up to `pass_band`.

    Notes
    -----
    1/strength + 1/factor = pass band (Taubin 1995, doi 10.1145/218380.218473): 0.5 and 0.1 give -0.5263.
    """
    if not pass_band < 1 / strength:
        raise BadSetting(f"a pass band of {pass_band:g} needs a strength below {1 / pass_band:g}, not {strength:g}")
    return 1.0 / (pass_band - 1.0 / strength)


def smoothed(
    mesh: Mesh, passes: int = 10, strength: float = 0.5, pass_band: float = 0.1, progress: Progress = SILENT
) -> Mesh:
    """The mesh with its ripples smoothed out and its volume kept.

    Parameters
    ----------
    mesh : any triangles; the vertices of an open rim move along with the rest
    passes : double steps, one that shrinks and one that swells
    strength : share of the way to its neighbours' mean a vertex goes in the first of them, 0 to 1
    pass_band : waves below this eigenvalue of I - averaging are kept, 0 to 1

    Notes
    -----
    A wave of eigenvalue k is scaled by ((1 - strength k)(1 - factor k)) ** passes (Taubin 1995). That is a little over
    1 within the pass band, so a closed mesh is brought back to its volume afterwards, evenly.
    """
    factor = inflating_factor(strength, pass_band)
    mean = averaging(mesh)
    middle = mesh.vertices.mean(axis=0)
    used = np.diff(mean.indptr) > 0
    start = (mesh.vertices - middle).astype(np.float32)
    place = start.copy()
    for turn in range(passes):
        for share in (strength, factor):
            place += np.float32(share) * (mean @ place - place) * used[:, None]
        progress((turn + 1) / passes, "smoothing")
    found = replace(mesh, vertices=mesh.vertices + (place - start))
    return _filled_out(found, volume(mesh)) if is_watertight(mesh) else found


def _filled_out(mesh: Mesh, wanted: float) -> Mesh:
    """The closed mesh moved evenly along its normals until it holds the wanted volume again."""
    normals = vertex_normals(mesh)
    return replace(mesh, vertices=mesh.vertices + normals * ((wanted - volume(mesh)) / area(mesh)))

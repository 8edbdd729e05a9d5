"""Smoothing that takes out ripples and leaves the size alone."""

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array, diags_array

from ..errors import BadSetting
from ..measures import closes, running_edges, volume
from ..mesh import Mesh
from ..progress import SILENT, Progress


def averaging(mesh: Mesh) -> csr_array:
    """(n, n) float32 sparse matrix that takes values at the vertices to the mean over each vertex's neighbours.

    A vertex without neighbours keeps its value.
    """
    running = running_edges(mesh)
    return _averaging(running, closes(running))


def _averaging(running: csr_array, closed: bool) -> csr_array:
    links = running if closed else running + running.T.tocsr()  # an edge counts once, whichever sides it was met from
    alone = np.diff(links.indptr) == 0
    if alone.any():
        links = (links + diags_array(alone.astype(np.float32))).tocsr()
    count = np.diff(links.indptr)
    shares = np.repeat((1.0 / count).astype(np.float32), count)
    return csr_array((shares, links.indices, links.indptr), shape=links.shape)


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
    running = running_edges(mesh)
    closed = closes(running)
    mean = _averaging(running, closed)
    start = (mesh.vertices - mesh.vertices.mean(axis=0)).astype(np.float32)  # half the bytes: memory sets the pace
    place = start.copy()
    for turn in range(passes):
        for share in (strength, factor):
            step = mean @ place
            step -= place
            step *= np.float32(share)
            place += step
        progress((turn + 1) / passes, "smoothing")
    found = replace(mesh, vertices=mesh.vertices + (place - start))
    return _filled_out(found, volume(mesh)) if closed else found


def _filled_out(mesh: Mesh, wanted: float) -> Mesh:
    """The closed mesh made larger or smaller about its middle until it holds the wanted volume again.

    Notes
    -----
    As Desbrun and others do it (1999, "Implicit fairing of irregular meshes", doi 10.1145/311535.311576; from memory).
    """
    held = volume(mesh)
    if not held * wanted > 0:
        return mesh  # a sheet folded on itself has no volume to keep
    middle = mesh.vertices.mean(axis=0)
    return replace(mesh, vertices=middle + (mesh.vertices - middle) * np.cbrt(wanted / held))

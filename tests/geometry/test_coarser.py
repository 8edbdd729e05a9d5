"""Fewer unknowns for smooth fields: partition of unity, spacing, and a fit that comes out as with all of them."""

import numpy as np
from canthus.anatomy.skin.base_head import own_base
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.coarser import prolongation
from canthus.geometry.quad_meshes.goal import Goal
from canthus.geometry.quad_meshes.nonrigid import COARSE, Wanted, fitted, roughly_fitted
from canthus.geometry.quad_meshes.quads import as_triangles, averaging
from scipy.sparse.csgraph import dijkstra


def test_nodes_stand_apart_and_their_shares_add_up():
    base = own_base()
    mean = averaging(base.quads, len(base.vertices))
    kept = np.array([7, 8])
    spread, nodes = prolongation(mean, kept)
    np.testing.assert_allclose(spread.sum(axis=1), 1.0, atol=1e-12)
    assert spread.data.min() >= 0
    assert 6 < len(base.vertices) / len(nodes) < 20
    assert np.isin(kept, nodes).all()
    some = np.setdiff1d(nodes, kept)[:60]
    apart = dijkstra(mean, unweighted=True, indices=some)[:, nodes]
    apart[apart == 0] = np.inf
    assert apart.min() >= 3  # edges


def test_it_comes_to_lie_as_with_all_unknowns():
    """The base drawn to itself made broader and taller: both come to lie alike within a tenth of the way."""
    base = own_base()
    target = base.vertices * np.array([1.12, 1.0, 1.05])
    goal = Goal(Mesh(target, as_triangles(target, base.quads)))
    rows = np.array(sorted(base.landmarks.values()))
    skin = ~base.in_region("ears", "eyes", "lids")
    whole, rough = (
        fit(base.vertices, base.quads, Wanted(goal, rows, target[rows]), COARSE) for fit in (fitted, roughly_fitted)
    )
    for moved in (whole, rough):
        assert np.linalg.norm(moved[rows] - target[rows], axis=1).max() < 0.5
    gone = np.linalg.norm(target - base.vertices, axis=1)[skin]
    apart = np.linalg.norm(rough - whole, axis=1)[skin]
    assert np.sqrt((apart**2).mean()) < 0.1 * np.sqrt((gone**2).mean())

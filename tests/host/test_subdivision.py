"""Our subdivision beside the host's own modifier, on a cube without its lid."""

import bpy
import numpy as np
from canthus.geometry.quad_meshes.subdivision import refined
from scipy.spatial import cKDTree

CUBE = np.array([[x, y, z] for z in (-1.0, 1.0) for y in (-1.0, 1.0) for x in (-1.0, 1.0)])
SIDES = np.array([[4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]])


def test_the_host_puts_the_vertices_in_the_same_places():
    """Blender's Subdivision modifier, Catmull-Clark, two levels, not moved to the limit; its rim kept from corners."""
    mesh = bpy.data.meshes.new("box")
    mesh.from_pydata(CUBE.tolist(), [], SIDES.tolist())
    box = bpy.data.objects.new("box", mesh)
    bpy.context.scene.collection.objects.link(box)
    modifier = box.modifiers.new("finer", "SUBSURF")
    modifier.levels, modifier.use_limit_surface, modifier.boundary_smooth = 2, False, "ALL"
    evaluated = box.evaluated_get(bpy.context.evaluated_depsgraph_get()).data
    theirs = np.array([vertex.co for vertex in evaluated.vertices])
    first = refined(SIDES, 8)
    second = refined(first.quads, first.matrix.shape[0])
    ours = second.matrix @ (first.matrix @ CUBE)
    assert len(ours) == len(theirs)
    assert len(second.quads) == len(evaluated.polygons)
    assert cKDTree(ours).query(theirs)[0].max() < 1e-6

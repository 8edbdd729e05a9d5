"""The base head that comes along: clean quads, one piece, landmarks and regions, texture places without overlaps."""

import numpy as np
import pytest
from canthus.anatomy.face.landmarks import NAMES, twin
from canthus.anatomy.skin.base_head import own_base
from canthus.anatomy.skin.region_names import REGIONS
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.quads import as_triangles, corner_angles, edges_of, facing_of, quad_normals, rims_of
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


@pytest.fixture(scope="module")
def base():
    return own_base()


def test_it_is_one_sheet_of_quads_open_at_the_neck_alone(base):
    """Euler's formula for a disc: vertices - edges + faces = 1."""
    edges, _, sides = edges_of(base.quads)
    assert 8_000 <= len(base.quads) <= 20_000
    assert sides.max() == 2
    assert len(base.vertices) - len(edges) + len(base.quads) == 1
    links = coo_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(len(base.vertices),) * 2)
    assert connected_components(links)[0] == 1
    (rim,) = rims_of(base.quads)
    np.testing.assert_allclose(base.vertices[rim, 2], -150.0)


def test_its_faces_are_even(base):
    """Angles: 99 % of 20 degrees and more. Faces turned against the skin round them: under 2 in a thousand."""
    least = np.degrees(corner_angles(base.vertices, base.quads)).min(axis=1)
    assert (least >= 20).mean() >= 0.99
    across = facing_of(base.vertices, base.quads)
    around = quad_normals(base.vertices, base.quads)[base.quads].sum(axis=1)
    assert (np.einsum("mi,mi->m", across, around) <= 0).sum() <= 10
    skin = Mesh(base.vertices, as_triangles(base.vertices, base.quads))
    assert len(self_intersections(skin)) == 0


def test_every_landmark_is_on_a_vertex_and_both_sides_are_alike(base):
    assert set(base.landmarks) == set(NAMES)
    places = base.places()
    for name, place in places.items():
        np.testing.assert_allclose(places[twin(name)] * [-1, 1, 1], place, atol=0.021, err_msg=name)
    assert places["pronasale"][1] == base.vertices[:, 1].min()
    assert places["vertex"][2] == pytest.approx(base.vertices[:, 2].max(), abs=0.1)


def test_its_regions_lie_where_they_should(base):
    """The lids' loops hold the canthi, the lips' the corners of the mouth, the ears the tragia."""
    assert set(np.unique(base.region)) == set(range(len(REGIONS)))
    for region, names in {
        "lids": ("endocanthion", "exocanthion", "palpebrale-superius", "palpebrale-inferius"),
        "lips": ("cheilion",),
        "ears": ("tragion",),
    }.items():
        inside = base.in_region(region)
        assert all(inside[base.landmarks[f"{name}-{side}"]] for name in names for side in ("left", "right")), region
    assert base.in_region("nose")[base.landmarks["pronasale"]]
    assert base.in_region("scalp")[base.landmarks["vertex"]]


@pytest.mark.parametrize("region", ["lids", "lips", "ears"])
def test_loops_of_edges_run_round_eyes_mouth_and_ears(base, region):
    """Rims of a region's faces are loops of edges: two of a ring (Euler: 0), one of lips and ears (1)."""
    places = base.vertices[base.quads].mean(axis=1)
    sides = (places[:, 0] > 0, places[:, 0] < 0) if region != "lips" else (np.ones(len(places), bool),)
    for side in sides:
        faces = base.quads[(base.region == REGIONS.index(region)) & side]
        rims = rims_of(faces)
        edges, _, _ = edges_of(faces)
        euler = len(np.unique(faces)) - len(edges) + len(faces)
        assert (len(rims), euler) == ((2, 0) if region == "lids" else (1, 1))
        assert all(len(rim) >= 12 for rim in rims)


def test_texture_places_do_not_overlap(base):
    """Every face is convex and turns the same way, and each island's edge is a circle: areas add up to the discs."""
    corners = base.uv[base.uv_quads]
    ahead, onward = np.roll(corners, -1, axis=1) - corners, np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    assert (ahead[..., 0] * onward[..., 1] - ahead[..., 1] * onward[..., 0] > 0).all()
    assert base.uv.min() > 0
    assert base.uv.max() < 1
    one, other = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = (one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]).sum() / 2
    assert area == pytest.approx(np.pi * (0.495**2 + 2 * 0.075**2), rel=2e-3)
    assert len(rims_of(base.uv_quads)) == 5  # head, two places for the ears in it, two ears


def test_finer_levels_keep_landmarks_regions_and_texture(base):
    fine = base.finer(1)
    assert len(fine.quads) == 4 * len(base.quads) == len(fine.uv_quads) == len(fine.region)
    moved = np.linalg.norm(fine.vertices[: len(base.vertices)] - base.vertices, axis=1)
    assert np.median(moved) < 0.1
    assert fine.landmarks == base.landmarks

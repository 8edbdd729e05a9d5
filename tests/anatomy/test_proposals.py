"""Proposed landmarks against the demo heads' truth and on real captures (what they are: captures.py).

Bars, from the project's plan: median error 2 mm for the pronasale, 3 mm for all others proposed as sure, none of the
sure ones wrong by more than 8 mm. The seeds here were never looked at while the search was made (that was on 0 to 4).
"""

import captures
import numpy as np
import pytest
from canthus.anatomy.face.frame import head_frame
from canthus.anatomy.face.proposals import SURE, propose_landmarks
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.transforms import applied
from demo_heads import any_pose, demo_head

EYES = [f"{stem}-{side}" for side in ("left", "right") for stem in ("endocanthion", "exocanthion")]
LIDS = [f"palpebrale-{lid}-{side}" for side in ("left", "right") for lid in ("superius", "inferius")]


def sure_of(mesh, motion, least=SURE):
    """The sure landmarks found on the mesh in another pose, back in its own."""
    found = propose_landmarks(mesh.moved(motion)).marks
    back = np.linalg.inv(motion)
    return {name: applied(back, place) for name, (place, confidence) in found.items() if confidence >= least}


@pytest.mark.parametrize(("seed", "pose"), [(31, 1), (32, 2)])
def test_demo_heads_are_read_in_any_pose(seed, pose):
    head = demo_head(seed)
    sure = sure_of(head.mesh, any_pose(pose))
    errors = {name: np.linalg.norm(place - head.truth.landmarks[name]) for name, place in sure.items()}
    assert {"pronasale", "sellion", "subnasale", "stomion", "orbitale-left", "orbitale-right"} <= set(errors)
    assert {*EYES, *LIDS} <= set(errors)
    frame = head_frame(sure)  # the truth stands on the Frankfurt horizontal
    assert frame.exact
    assert abs(np.degrees(np.arcsin(frame.matrix[2, 1]))) < 2 * frame.nod
    assert errors["pronasale"] < 2.0
    assert np.median(list(errors.values())) < 2.0
    assert max(errors[name] for name in (*EYES, *LIDS)) < 3.0
    assert max(errors.values()) < 8.0


def test_the_eyes_of_a_statue_are_found_on_an_open_range_map():
    """D1, turned inside out on top of it: an open scan's triangles may face either way."""
    scan = captures.face_range_map()
    sure = sure_of(Mesh(scan.vertices, scan.triangles[:, ::-1]), any_pose(3))
    assert set(EYES) <= set(sure)
    lengths = [np.linalg.norm(sure[EYES[row]] - sure[EYES[row + 1]]) for row in (0, 2)]
    assert np.ptp(lengths) < 3.0
    # +Y is up and +Z towards the scanner, so the sitter's left is +X.
    assert sure["endocanthion-left"][0] > sure["endocanthion-right"][0]
    assert "gnathion" not in sure  # the chin is cut by a shadow


def test_lids_enclose_the_eyeballs_of_a_base_body():
    """D4: eyeballs of radius 15 mm come with it, so the margins lie some 15 mm from their centres."""
    head, centres = captures_base_head()
    sure = sure_of(head, any_pose(4))
    assert {*EYES, *LIDS} <= set(sure)
    for side, centre in centres.items():
        away = {name: sure[name] - centre for name in (*EYES, *LIDS) if name.endswith(side)}
        outwards = 1.0 if side == "left" else -1.0
        assert outwards * away[f"endocanthion-{side}"][0] < -8.0
        assert outwards * away[f"exocanthion-{side}"][0] > 8.0
        for lid, sign in (("superius", 1), ("inferius", -1)):
            place = away[f"palpebrale-{lid}-{side}"]
            assert np.linalg.norm(place) == pytest.approx(15.5, abs=1.5)
            assert 2.0 < sign * place[1] < 9.0


def captures_base_head():
    """The head of D4 in millimetres (+Y up, +Z front), and the centres of its eyeballs."""
    vertices, triangles, eyes = [], {}, {"helper-l-eye": "left", "helper-r-eye": "right"}
    group = ""
    for line in captures.base_body_file().read_text().splitlines():
        word, *rest = line.split() or [""]
        if word == "v":
            vertices.append([float(number) * 100.0 for number in rest[:3]])
        elif word == "g":
            group = rest[0]
        elif word == "f":
            corners = [int(corner.split("/")[0]) - 1 for corner in rest]
            triangles.setdefault(group, []).extend((corners[0], *corners[k : k + 2]) for k in range(1, len(rest) - 1))
    places = np.array(vertices)
    chosen = np.array(triangles["body"] + triangles["helper-l-eye"] + triangles["helper-r-eye"])
    top = places[np.unique(chosen), 1].max()
    near = (places[chosen, 1] > top - 320.0).all(axis=1) & (np.abs(places[chosen, 0]) < 130.0).all(axis=1)
    centres = {side: places[np.unique(triangles[name])].mean(axis=0) for name, side in eyes.items()}
    return Mesh(places, chosen).kept(near), centres


def test_spectacles_do_not_pass_for_lids():
    """D2, whose frames cross the upper lids: both eyes alike, lower than the frame, above the nose tip. Their corners
    may be weak behind it, and then say so."""
    bust = captures.bust()
    bust = bust.moved(np.diag([66.0, 66.0, 66.0, 1.0]))  # no units given: this makes the face adult
    found = sure_of(bust, any_pose(5), least=0.4)
    lengths = [np.linalg.norm(found[EYES[row]] - found[EYES[row + 1]]) for row in (0, 2)]
    assert np.ptp(lengths) < 4.0
    heights = [found[name][1] for name in EYES]
    assert np.ptp(heights) < 8.0
    assert min(heights) - found["pronasale"][1] > 20.0


def test_a_head_cut_off_at_the_nose_gives_no_false_sure_landmark():
    """D3: x right, y front, z up; closed lids near z -45, no tip of the nose, no mouth, no chin."""
    sure = sure_of(captures.mri_head(), any_pose(6))
    assert not {"pronasale", "subnasale", "stomion", "gnathion", "cheilion-left", "cheilion-right"} & set(sure)
    for name in set(sure) & {*EYES, *LIDS}:
        assert sure[name][1] > 55
        assert -62 < sure[name][2] < -28


def test_no_face_is_seen_in_an_egg():
    egg = icosphere(5, 100.0).moved(np.diag([0.8, 1.0, 1.3, 1.0]))
    assert propose_landmarks(egg).face is None

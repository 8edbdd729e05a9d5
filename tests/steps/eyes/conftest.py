"""A block with the middle of a face on it, made from formulas: globes of known place between lids of known thickness.

Life size, posed: face to -y, up +z, the sitter's left +x. The globes' centres are at x = ±32, y = 0, z = 0.
"""

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import FISSURE_LENGTH, EyeShape
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from canthus.steps.workpiece import Landmark, Workpiece

APART, GLOBE_RADIUS, LID = 64.0, 12.1, 2.0
CANTHI = {"en": (-14.4, -1.0), "ex": (12.7, 1.0)}  # outwards from the pupil, and up: fissure 27.1, tilt 2 mm
PEAKS = {"ps": (-1.0, 4.0), "pi": (1.0, -5.7)}  # 9.7 high


def margins(outwards):
    """Heights of the upper and lower margin, and how far along the fissure (0 to 1) each place is."""
    along = np.clip((outwards - CANTHI["en"][0]) / FISSURE_LENGTH, 0.0, 1.0)
    line = CANTHI["en"][1] + along * (CANTHI["ex"][1] - CANTHI["en"][1])
    bow = (1 - np.abs(2 * along - 1) ** 2.2) ** 0.9
    return line + 4.1 * bow, line - 5.6 * bow, along


def protrusion(x, z):
    """How far the skin stands towards -y, mm."""
    outwards = np.abs(x) - APART / 2
    face = 8 - 0.004 * np.maximum(np.abs(x) - 16, 0) ** 2 + 13 * np.exp(-((x / 9) ** 2))
    face = face + 6 * smooth((z - 12) / 10) + 3 * smooth((-z - 12) / 12)
    across = outwards**2 + z**2
    lid = np.sqrt(np.maximum((GLOBE_RADIUS + LID) ** 2 - across, 0.0))
    skin = 2.5 * np.logaddexp(face / 2.5, lid / 2.5)
    shape = EyeShape(2 * GLOBE_RADIUS)
    globe = np.sqrt(np.maximum(GLOBE_RADIUS**2 - across, 0.0))
    cornea = np.where(
        across < shape.limbus**2, shape.cornea_ahead + np.sqrt(np.maximum(shape.cornea**2 - across, 0)), 0
    )
    inside = np.maximum(np.maximum(globe, cornea), face - 1.0)
    upper, lower, _ = margins(outwards)
    within = np.minimum(upper - z, z - lower)
    beyond = np.maximum(CANTHI["en"][0] - outwards, outwards - CANTHI["ex"][0])
    open_share = smooth(np.minimum(within, -beyond) / 0.5 + 0.5)
    return skin + open_share * (np.minimum(inside, skin) - skin)


def smooth(share):
    """0 to 1 with level ends."""
    share = np.clip(share, 0.0, 1.0)
    return share * share * (3 - 2 * share)


def block(spacing=0.5):
    """The closed block: the face over 124 by 70 mm, flat sides, its back 45 mm behind the globes' centres."""
    xs, zs = np.arange(-62, 62.01, spacing), np.arange(-35, 35.01, spacing)
    x, z = np.meshgrid(xs, zs, indexing="ij")
    front = np.column_stack([x.ravel(), -protrusion(x, z).ravel(), z.ravel()])
    number = np.arange(len(front)).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    back = front.copy()
    back[:, 1] = 45.0
    rim = np.concatenate([number[:, 0], number[-1, 1:], number[-2::-1, -1], number[0, -2:0:-1]])
    ahead, count = np.roll(rim, -1), len(front)
    sides = [np.column_stack([rim, rim + count, ahead]), np.column_stack([ahead, rim + count, ahead + count])]
    return Mesh(np.concatenate([front, back]), np.concatenate([faces, faces[:, ::-1] + count, *sides]))


def capture(seed=0, noise=0.1, count=60000):
    """A scan of the block's face: noise along the ray, and lash clumps before the upper margins."""
    generator = np.random.default_rng(seed)
    x, z = generator.uniform(-60, 60, count), generator.uniform(-33, 33, count)
    y = -protrusion(x, z) + generator.normal(0, noise, count)
    outwards = generator.uniform(-11, 11, 1500)
    upper, _, _ = margins(outwards)
    clump = np.sin(outwards * 4.0) > 0.2
    outwards, heights = outwards[clump], (upper + generator.uniform(-1.6, 1.0, 1500))[clump]
    across = generator.choice([-1, 1], len(outwards)) * (outwards + APART / 2)
    lashes = -protrusion(across, heights) - generator.uniform(0.3, 3.0, len(outwards))
    return Cloud(np.column_stack([np.append(x, across), np.append(y, lashes), np.append(z, heights)]))


def landmarks():
    """The eyes' landmarks on the skin, exact."""
    found = {}
    names = {"en": "endocanthion", "ex": "exocanthion", "ps": "palpebrale-superius", "pi": "palpebrale-inferius"}
    for side, sign in (("left", 1), ("right", -1)):
        for short, (outwards, up) in {**CANTHI, **PEAKS}.items():
            x = sign * (APART / 2 + outwards)
            found[f"{names[short]}-{side}"] = Landmark((x, -float(protrusion(np.array(x), np.array(up))), up))
    return found


@pytest.fixture(scope="session")
def face():
    """The posed piece at life size: block, capture and landmarks."""
    return Workpiece(name="patch", scan=capture(), head=block(), landmarks=landmarks())


@pytest.fixture(scope="session")
def small_face(face):
    """The same piece at 1/6."""
    return face.moved(np.diag([1 / 6, 1 / 6, 1 / 6, 1.0])).but(scale=1 / 6)


@pytest.fixture(scope="session")
def lid_edges():
    """The function that gives the block's margins."""
    return margins

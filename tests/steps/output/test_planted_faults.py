"""Fourteen kinds of fault, each planted ten times where chance puts it: found there. Clean parts: nothing found.

Where a fault was planted is known exactly; the printer is a coarse one, so that a hundred and fifty checks stay quick.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.solids.booleans import difference, split, union
from canthus.geometry.solids.joints import Peg
from canthus.geometry.solids.primitives import box, cylinder, icosphere, prism, sphere
from canthus.steps.output.check import Check
from canthus.steps.workpiece import Eye, Workpiece

RADIUS = 19.0
PIXEL, LEAST_WALL = 0.25, 1.2


@dataclass(frozen=True)
class Planted:
    """A part with a fault: what the check should call it and how far from where it says the fault really is."""

    head: Mesh
    name: str
    off: Callable[[np.ndarray], float]
    near: float
    value: tuple[float, float] = (0.0, np.inf)
    rest: dict = field(default_factory=dict)


@pytest.fixture(scope="module")
def check(tmp_path_factory):
    table = tmp_path_factory.mktemp("printers") / "printers.toml"
    table.write_text(f"[coarse]\nplate = [143, 89, 165]\npixel = {PIXEL}\nlayer = {PIXEL}\n")
    return Check(least_wall=LEAST_WALL, printer="coarse", printers=str(table))


def unit(chance):
    way = chance.normal(size=3)
    return way / np.linalg.norm(way)


def turned(mesh, chance):
    """The mesh turned by chance about the origin."""
    turn, _ = np.linalg.qr(chance.normal(size=(3, 3)))
    matrix = np.eye(4)
    matrix[:3, :3] = turn * np.sign(np.linalg.det(turn))
    return mesh.moved(matrix), matrix


def ball(chance):
    return turned(icosphere(4, RADIUS), chance)[0]


def together(*meshes):
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]),
    )


def from_point(point):
    return lambda where: float(np.linalg.norm(where - point))


def open_edges(chance):
    head = ball(chance)
    gone = int(chance.integers(len(head.triangles)))
    middle = head.corners[gone].mean(axis=0)
    return Planted(head.kept(np.arange(len(head.triangles)) != gone), "open edges", from_point(middle), 1.0, (3, 3))


def overused_edge(chance):
    head = ball(chance)
    a, b, _ = head.triangles[int(chance.integers(len(head.triangles)))]
    flap = [a, b, len(head.vertices)]
    middle = head.vertices[[a, b]].mean(axis=0)
    mesh = Mesh(np.vstack([head.vertices, 1.1 * middle]), np.vstack([head.triangles, flap]))
    return Planted(mesh, "edges of more than two faces", from_point(middle), 1e-3, (1, 1))


def flipped_face(chance):
    head = ball(chance)
    triangles, row = head.triangles.copy(), int(chance.integers(len(head.triangles)))
    triangles[row] = triangles[row][::-1]
    middle = head.corners[row].mean(axis=0)
    return Planted(Mesh(head.vertices, triangles), "flipped faces", from_point(middle), 1.0, (3, 3))


def crossing_faces(chance):
    centre, size = RADIUS * unit(chance), chance.uniform(1.5, 3)
    mesh = together(ball(chance), turned(icosphere(3, size), chance)[0].moved(shift(centre)))
    return Planted(mesh, "faces through each other", lambda at: abs(np.linalg.norm(at - centre) - size), 0.8)


def shift(by):
    matrix = np.eye(4)
    matrix[:3, 3] = by
    return matrix


def closed_cavity(chance):
    centre = chance.uniform(0, 12) * unit(chance)
    void = icosphere(2, chance.uniform(1.0, 4.0)).moved(shift(centre))
    return Planted(hollowed(ball(chance), void), "closed cavities", from_point(centre), 0.1, (1, 1))


def with_fin(chance, thickness):
    """A ball with a fin standing on its top, all turned by chance; and how far outside the fin a place is."""
    low, high = np.array([-thickness / 2, -4.0, RADIUS - 2]), np.array([thickness / 2, 4.0, RADIUS + 6])
    mesh, matrix = turned(union(icosphere(4, RADIUS), box(low, high)), chance)

    def off(at):
        own = matrix[:3, :3].T @ at
        return float(np.max(np.maximum(low - own, own - high)))

    return mesh, off


def thin_wall(chance):
    thickness = chance.uniform(0.6, 1.1)
    mesh, off = with_fin(chance, thickness)
    return Planted(mesh, "least wall", off, 1e-3, (thickness - 0.02, thickness + 0.02))


def fine_detail(chance):
    mesh, off = with_fin(chance, chance.uniform(0.1, 0.45))
    return Planted(mesh, "finer than two pixels", off, 1e-3, (1, 1))


def knife_lip(chance):
    """A lip that sticks out of a ball and thins out to nothing; its edge is known."""
    long, wide, degrees = 4.0, chance.uniform(4, 7), chance.uniform(8, 30)
    profile = np.array([[0, 0], [-long - 3, 0], [-long - 3, (long + 3) * np.tan(np.radians(degrees))]])
    lip = prism(profile[::-1], 0.0, wide).moved(shift((RADIUS + long, 0, 0)))
    mesh, matrix = turned(union(icosphere(4, RADIUS), lip), chance)

    def off(at):
        own = matrix[:3, :3].T @ at - np.array([RADIUS + long, 0, 0])
        return float(np.hypot(np.hypot(own[0], own[1]), max(0.0, -own[2], own[2] - wide)))

    return Planted(mesh, "finer than two pixels", off, 2 * PIXEL, (1, 1))


def knife_rim(chance):
    """A shell parted where its skin runs nearly along the cut: the rim is a knife's edge all round."""
    angle, large = np.radians(chance.uniform(12, 30)), 60.0
    cut = large * np.cos(angle)
    mesh, matrix = turned(split(icosphere(5, large), (0, 0, cut), (0, 0, 1))[0], chance)

    def off(at):
        own = matrix[:3, :3].T @ at
        return float(np.hypot(np.hypot(*own[:2]) - large * np.sin(angle), own[2] - cut))

    return Planted(mesh, "finer than two pixels", off, 2 * PIXEL, (1, 1))


def island(chance):
    """A post with an arm, from whose end something hangs."""
    reach, drop = chance.uniform(22, 30), chance.uniform(4, 12)
    turn = np.eye(4)
    angle = chance.uniform(0, 2 * np.pi)
    turn[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    arm = union(box((0, -2, 26), (reach, 2, 30)), box((reach - 4, -2, 28 - drop), (reach, 2, 29)))
    mesh = union(box((-17, -17, 0), (17, 17, 36)), arm).moved(turn)
    start = turn[:3, :3] @ [reach - 2, 0, 28 - drop]
    return Planted(mesh, "islands", from_point(start), 3 * PIXEL, (1, 1))


def suction_cup(chance):
    x, y, radius = *chance.uniform(-5, 5, 2), chance.uniform(4, 10)
    mesh = difference(box((-18, -18, 0), (18, 18, 36)), cylinder((x, y, 8), (x, y, 40), radius, 0.01))
    area = np.pi * radius**2
    axis = np.array([x, y])
    return Planted(mesh, "suction cup", lambda at: float(np.hypot(*(at[:2] - axis))), 0.5, (0.9 * area, 1.1 * area))


def overlap(chance):
    centre, size = RADIUS * unit(chance), chance.uniform(2, 4)
    part = icosphere(3, size).moved(shift(centre))
    return Planted(
        ball(chance), "head and lump: overlap", from_point(0.97 * centre), size, (1, 200), {"parts": {"lump": part}}
    )


def binding_eye(chance):
    centre = 17.0 * unit(chance)
    head = difference(ball(chance), sphere(4.1, centre, sag=0.004))
    aside = unit(chance) * chance.uniform(0.06, 0.08)
    eye = Eye("left", tuple(centre), diameter=8.0, clearance=0.1)
    part = sphere(4, centre + aside, sag=0.004)
    touching = centre + 4.05 * aside / np.linalg.norm(aside)
    rest = {"eyes": (eye,), "parts": {"eye-left": part}}
    # Where the pocket is open before the eye, the least gap is at the pocket's edge, as near as it gets to that way.
    off = from_point(touching)
    return Planted(head, "eye-left: gap to the socket", off, 8.2, (0.0, 0.09), rest)


def too_large(chance):
    mesh = box((0, 0, 0), (40, 40, chance.uniform(166, 200)))
    return Planted(mesh, "share of the plate", lambda _: 0.0, 0.0, (100.1, 130))


KINDS = [
    open_edges,
    overused_edge,
    flipped_face,
    crossing_faces,
    closed_cavity,
    thin_wall,
    fine_detail,
    knife_lip,
    knife_rim,
    island,
    suction_cup,
    overlap,
    binding_eye,
    too_large,
]


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_what_is_planted_is_found_where_it_is(check, kind, seed):
    planted = kind(np.random.default_rng([seed, KINDS.index(kind)]))
    done = check.apply(Workpiece(head=planted.head, **planted.rest))
    name = planted.name if ": " in planted.name else f"head: {planted.name}"
    (found,) = (each for each in done.checks if each.name == name)
    assert not found.ok
    assert planted.value[0] <= found.value <= planted.value[1]
    if kind is too_large:
        assert found.where == "the whole part"
    else:
        assert planted.off(np.asarray(found.where)) <= planted.near


def clean_parts():
    chance = np.random.default_rng(5)
    for _ in range(4):
        yield turned(icosphere(4, chance.uniform(16.5, 30)), chance)[0]
    for _ in range(3):
        yield turned(box((0, 0, 0), chance.uniform(33, 40, 3)), chance)[0]
    for _ in range(3):
        yield turned(cylinder((0, 0, 0), (0, 0, chance.uniform(20, 40)), chance.uniform(17, 20)), chance)[0]
    for _ in range(2):  # edges of 60 degrees all round; and a chamfered peg with a flat
        yield split(icosphere(5, chance.uniform(40, 45)), (0, 0, 20), (0, 0, 1))[0]
        peg = Peg(8.0, chance.uniform(8, 12), np.radians(2.0), 1.0, 0.8).solid(2.0).moved(np.diag([1.0, -1, -1, 1]))
        yield turned(union(icosphere(4, RADIUS), peg.moved(shift((0, 0, RADIUS - 1)))), chance)[0]


@pytest.mark.parametrize("part", list(clean_parts()), ids=range(14))
def test_nothing_is_found_on_a_clean_part(check, part):
    assert [each.name for each in check.apply(Workpiece(head=part)).checks if not each.ok] == []

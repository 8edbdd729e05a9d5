"""The edges of the brows as open curves in the scene: laid, dragged by their handles, read by Brows as they stand."""

from collections.abc import Mapping
from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ...anatomy.drawn_edges import EDGES, SIDES, Edges
from ...anatomy.hair.brow_files import FEWEST, brows_text
from ...geometry.errors import BadFile, BadMesh
from ...steps.step import Step
from . import curves, exchange
from .roles import ROLE, object_with, role_of


def put(collection: bpy.types.Collection, brows: Mapping[str, tuple[NDArray[np.float64], ...]], unit: float) -> None:
    """Curves for the (k, 3) upper and lower edge of each brow, millimetres, in place of those that were there."""
    for side, edges in brows.items():
        for edge, places in zip(EDGES, edges, strict=True):
            role = f"brow/{side}-{edge}"
            if (old := object_with(collection, role)) is not None:
                curves.remove(old)
            name = f"brow {side} {edge}"
            thing = bpy.data.objects.new(name, curves.new_curve(name, places / unit, closed=False))
            thing[ROLE] = role
            thing.show_in_front, thing.color = True, curves.COLOUR
            collection.objects.link(thing)


def things_in(collection: bpy.types.Collection | None) -> list[bpy.types.Object]:
    """The curves of a head's brows."""
    return [] if collection is None else [each for each in collection.objects if role_of(each).startswith("brow/")]


def read(collection: bpy.types.Collection, unit: float) -> Edges:
    """The brows as their curves stand, millimetres: a side of which there is no curve is left out.

    Raises
    ------
    BadMesh
        One of a brow's two curves is gone, or has too few points.
    """
    found: Edges = {}
    for side in SIDES:
        things = [object_with(collection, f"brow/{side}-{edge}") for edge in EDGES]
        if things == [None, None]:
            continue
        lines = [np.zeros((0, 3)) if thing is None else curves.places_of(thing) * unit for thing in things]
        for edge, places in zip(EDGES, lines, strict=True):
            if len(places) < FEWEST:
                raise BadMesh(
                    f'"{collection.name}": the {side} brow\'s {edge} curve has {len(places)} points, {FEWEST} are '
                    "needed: undo, or lay the brow curves anew"
                )
        found[side] = (lines[0], lines[1])
    return found


def follow(collection: bpy.types.Collection, motion: NDArray[np.float64], unit: float) -> None:
    """Move the curves with their head by a (4, 4) similarity, millimetres."""
    for thing in things_in(collection):
        places = curves.places_of(thing) * unit
        thing.matrix_basis = Matrix()
        curves.put_places(thing, (places @ motion[:3, :3].T + motion[:3, 3]) / unit)


def with_brows(step: Step, collection: bpy.types.Collection | None, scene: bpy.types.Scene) -> Step:
    """The step as it is; brows with the curves in the scene, where it names no curves of its own.

    They are written beside the .blend, so that a recipe finds them again; before it is saved, with the host's
    temporary files.
    """
    if step.NAME != "brows" or step.values()["curves"] or not things_in(collection):
        return step
    if bpy.data.filepath:
        path = Path(bpy.data.filepath).with_suffix(".brows.json")
    else:
        path = Path(bpy.app.tempdir) / "canthus.brows.json"
    edges = read(collection, exchange.millimetres_per_unit(scene))
    try:
        path.write_text(brows_text(edges, path.suffix), encoding="utf-8")
    except OSError as error:
        raise BadFile(f"{path}: cannot be written: {error.strerror or error}") from None
    return step.made_from({**step.values(), "curves": str(path)})

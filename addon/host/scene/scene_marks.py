"""Landmarks, eyes and lid margins in the scene: empties and curves that are moved by hand, and count as they stand."""

import dataclasses
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector
from numpy.typing import NDArray

from ...geometry.errors import BadMesh
from ...steps.workpiece import Eye, Landmark, Workpiece
from . import curves, exchange, looks
from .roles import ROLE, object_with, role_of

MOVED = 1e-4
"""An empty further than this from where it was put, millimetres at a head of 250, was moved by hand."""
_FEWEST_ON_A_MARGIN = 8


def put_landmarks(collection: bpy.types.Collection, piece: Workpiece, unit: float) -> None:
    """An empty for each landmark; those the workpiece no longer has are taken away."""
    for thing in list(collection.objects):
        role = role_of(thing)
        if role.startswith("landmark/") and role.removeprefix("landmark/") not in piece.landmarks:
            bpy.data.objects.remove(thing)
    size = looks.mark_size(piece) / unit
    for name, mark in piece.landmarks.items():
        thing = _empty(collection, f"landmark/{name}", name, "SPHERE")
        thing.empty_display_size = size
        thing.parent, thing.matrix_basis = None, Matrix.Translation(Vector(mark.position) / unit)
        thing["confidence"], thing["source"] = mark.confidence, mark.source
        thing.color = (1, 0.75, 0.2, 1) if mark.sure else (1, 0.15, 0.1, 1)


def put_eyes(collection: bpy.types.Collection, piece: Workpiece, unit: float) -> None:
    """An empty for each eye and a curve for its margin; those of eyes that are no more are taken away."""
    sides = [eye.side for eye in piece.eyes]
    for thing in list(collection.objects):
        role = role_of(thing)
        if role.startswith("eye/") and role.removeprefix("eye/") not in sides:
            bpy.data.objects.remove(thing)
    for eye in piece.eyes:
        thing = _empty(collection, f"eye/{eye.side}", f"eye {eye.side}", "SPHERE")
        thing.empty_display_size = eye.diameter / 2 / unit
        thing.parent, thing.matrix_basis = None, _eye_matrix(eye, unit)
        thing["diameter_mm"], thing["clearance_mm"] = eye.diameter, eye.clearance
        thing.color = (0.3, 0.8, 1, 1)

    _put_margins(collection, piece, unit)


def _put_margins(collection: bpy.types.Collection, piece: Workpiece, unit: float) -> None:
    wanted = {f"margin/{eye.side}": eye.opening for eye in piece.eyes if eye.opening is not None}
    for thing in list(collection.objects):
        if role_of(thing).startswith("margin/") and role_of(thing) not in wanted:
            curves.remove(thing)
    for role, opening in wanted.items():
        thing = object_with(collection, role)
        if thing is not None and len(curves.places_of(thing)) != len(opening):
            curves.remove(thing)
            thing = None
        if thing is None:
            name = f"lid margin {role.removeprefix('margin/')}"
            thing = bpy.data.objects.new(name, curves.new_curve(name, opening / unit))
            thing[ROLE] = role
            thing.show_in_front, thing.color = True, curves.COLOUR
            collection.objects.link(thing)
        thing.parent, thing.matrix_basis = None, Matrix()
        curves.put_places(thing, opening / unit)


def _empty(collection: bpy.types.Collection, role: str, name: str, shape: str) -> bpy.types.Object:
    thing = object_with(collection, role)
    if thing is None:
        thing = bpy.data.objects.new(name, None)
        thing[ROLE] = role
        thing.empty_display_type = shape
        thing.show_in_front = True
        collection.objects.link(thing)
    return thing


def _eye_matrix(eye: Eye, unit: float) -> Matrix:
    """The empty's -Y axis lies along the gaze."""
    turn = (-Vector(eye.gaze)).to_track_quat("Y", "Z").to_matrix().to_4x4()
    return Matrix.Translation(Vector(eye.centre) / unit) @ turn


def landmarks_by_hand(piece: Workpiece, collection: bpy.types.Collection, unit: float) -> dict[str, Landmark]:
    """The landmarks as the empties stand. One deleted by hand is gone; one moved by hand is sure and says so."""
    found = {}
    for thing in sorted(collection.objects, key=lambda each: each.name):
        name = role_of(thing).removeprefix("landmark/")
        if not role_of(thing).startswith("landmark/") or name in found:
            continue
        x, y, z = (exchange.stands(thing).translation * unit)[:]
        kept = piece.landmarks.get(name)
        if kept is not None and (Vector(kept.position) - Vector((x, y, z))).length < _tolerance(kept.position):
            found[name] = kept
        else:
            found[name] = Landmark((x, y, z), 1.0, "placed")
    order = {name: place for place, name in enumerate(piece.landmarks)}
    return dict(sorted(found.items(), key=lambda item: order.get(item[0], len(order))))


def eye_by_hand(eye: Eye, collection: bpy.types.Collection, unit: float) -> Eye:
    """The eye as its empty stands, as its custom properties say, and with its margin as the curve runs.

    Raises
    ------
    BadMesh
        The empty is gone, or the curve has too few points.
    """
    thing = object_with(collection, f"eye/{eye.side}")
    if thing is None:
        raise BadMesh(f'"{collection.name}": the {eye.side} eye\'s empty is gone: undo, or run place-eyes again')
    changed: dict[str, Any] = {}
    stands = exchange.stands(thing)
    place = stands.translation * unit
    if (place - Vector(eye.centre)).length >= _tolerance(eye.centre):
        changed |= {"centre": tuple(place), "sources": _by_hand(eye.sources)}
    gaze = -(stands.to_3x3() @ Vector((0, 1, 0))).normalized()
    if (gaze - Vector(eye.gaze).normalized()).length >= MOVED:
        changed["gaze"] = tuple(gaze)
    for name, value in (("diameter", eye.diameter), ("clearance", eye.clearance)):
        if float(thing.get(f"{name}_mm", value)) != value:
            changed[name] = float(thing[f"{name}_mm"])
    drawn = _margin_by_hand(eye, collection, unit)
    if drawn is not eye.opening:
        changed |= {"opening": drawn, "sources": _by_hand(eye.sources)}
    return dataclasses.replace(eye, **changed) if changed else eye


def _margin_by_hand(eye: Eye, collection: bpy.types.Collection, unit: float) -> NDArray[np.float64] | None:
    """The margin as its curve runs now; the eye's own where that was not touched or is gone."""
    thing = object_with(collection, f"margin/{eye.side}")
    if eye.opening is None:
        return None
    if thing is None:  # a scene from before margins were curves keeps them in its record alone
        return eye.opening
    places = curves.places_of(thing) * unit
    if len(places) < _FEWEST_ON_A_MARGIN:
        raise BadMesh(f'"{thing.name}": a lid margin needs {_FEWEST_ON_A_MARGIN} points: undo, or place the eyes again')
    same = len(places) == len(eye.opening)
    tolerance = max(_tolerance(tuple(each)) for each in eye.opening)
    if same and np.linalg.norm(places - eye.opening, axis=1).max() < tolerance:
        return eye.opening
    return places


def _by_hand(sources: tuple[str, ...]) -> tuple[str, ...]:
    return sources if "by hand" in sources else (*sources, "by hand")


def _tolerance(place: tuple[float, float, float]) -> float:
    return MOVED * max(1.0, max(abs(each) for each in place) / 250)

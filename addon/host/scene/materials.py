"""What things are made of in the pictures: cast resin, painted eyes, a cut face, the studio's paper."""

import math

import bpy
import numpy as np
from numpy.typing import NDArray

RESIN = (0.50, 0.385, 0.315)
"""Linear colour of a skin-toned grey resin."""
CUT_HEAD, CUT_EYE, CUT_PART = (0.62, 0.20, 0.10), (0.42, 0.48, 0.55), (0.62, 0.40, 0.10)
"""Cut faces: the head's, an eye's, any other part's; apart in black and white too."""
MARKER = (0.80, 0.05, 0.02)
INK = (0.88, 0.87, 0.85)
FIGURE = (0.015, 0.014, 0.013)
PAPER = (0.42, 0.43, 0.45)
SCLERA = (0.80, 0.77, 0.73)
IRIS = (0.10, 0.17, 0.19)
# Half angles seen from the globe's centre: the limbus of 11.8 mm on a globe of 24.2 (reference_values.md, section 1),
# a pupil of 3.5 in room light. Shading only; what is printed is in the mesh.
LIMBUS = math.asin(11.8 / 24.2)
PUPIL = math.asin(3.5 / 24.2)


def _plain(name: str, colour: tuple[float, float, float], roughness: float) -> bpy.types.Material:
    material = bpy.data.materials.new(name)
    if bpy.app.version < (5, 0, 0):
        material.use_nodes = True  # later hosts always do, and warn
    surface = _surface(material)
    surface.inputs["Base Color"].default_value = (*colour, 1)
    surface.inputs["Roughness"].default_value = roughness
    material.diffuse_color = (*colour, 1)
    material.roughness = roughness
    return material


def _surface(material: bpy.types.Material) -> bpy.types.Node:
    return next(node for node in material.node_tree.nodes if node.type == "BSDF_PRINCIPLED")


def resin() -> bpy.types.Material:
    """Cast resin: the head and whatever is printed with it."""
    return _plain("Canthus Resin", RESIN, 0.5)


def cut(name: str = "head") -> bpy.types.Material:
    """The flat face of a section through the part of that name."""
    kind = "Head" if name == "head" else "Eye" if name.startswith("eye") else "Part"
    return _plain(f"Canthus Cut {kind}", {"Head": CUT_HEAD, "Eye": CUT_EYE, "Part": CUT_PART}[kind], 0.8)


def paper() -> bpy.types.Material:
    """The sweep of paper the work stands on."""
    return _plain("Canthus Paper", PAPER, 0.9)


def marker() -> bpy.types.Material:
    """What points at a finding."""
    return _shining("Canthus Marker", MARKER)


def ink() -> bpy.types.Material:
    """Discs that figures stand on."""
    return _shining("Canthus Ink", INK)


def figure() -> bpy.types.Material:
    """Arrows, and figures on a disc of ink."""
    return _shining("Canthus Figure", FIGURE)


def _shining(name: str, colour: tuple[float, float, float]) -> bpy.types.Material:
    """Shines by itself: the same in light and shade."""
    material = _plain(name, (0.0, 0.0, 0.0), 1.0)
    surface = _surface(material)
    surface.inputs["Specular IOR Level"].default_value = 0.0
    surface.inputs["Emission Color"].default_value = (*colour, 1)
    surface.inputs["Emission Strength"].default_value = 1.0
    return material


def coloured(name: str = "Canthus Scan") -> bpy.types.Material:
    """The scan in its own colours, from the colour attribute of the object."""
    material = _plain(name, RESIN, 0.7)
    colours = material.node_tree.nodes.new("ShaderNodeVertexColor")
    material.node_tree.links.new(colours.outputs["Color"], _surface(material).inputs["Base Color"])
    return material


def eye(side: str, centre: NDArray[np.float64], gaze: NDArray[np.float64]) -> bpy.types.Material:
    """A painted eye: white, limbus, iris and pupil as rings round the gaze, in the object's own coordinates."""
    material = _plain(f"Canthus Eye {side}", SCLERA, 0.12)
    tree = material.node_tree
    place = tree.nodes.new("ShaderNodeTexCoord")
    offset = tree.nodes.new("ShaderNodeVectorMath")
    offset.operation = "SUBTRACT"
    offset.inputs[1].default_value = centre
    ray = tree.nodes.new("ShaderNodeVectorMath")
    ray.operation = "NORMALIZE"
    along = tree.nodes.new("ShaderNodeVectorMath")
    along.operation = "DOT_PRODUCT"
    along.inputs[1].default_value = gaze
    rings = tree.nodes.new("ShaderNodeValToRGB")
    _paint_rings(rings.color_ramp)
    link = tree.links.new
    link(place.outputs["Object"], offset.inputs[0])
    link(offset.outputs["Vector"], ray.inputs[0])
    link(ray.outputs["Vector"], along.inputs[0])
    link(along.outputs["Value"], rings.inputs["Fac"])
    link(rings.outputs["Color"], _surface(material).inputs["Base Color"])
    return material


def _paint_rings(ramp: bpy.types.ColorRamp) -> None:
    """Colours by the cosine of the angle off the gaze, from the white in to the pupil."""
    edge, soft = math.cos(LIMBUS), 0.008
    pupil = math.cos(PUPIL)
    stops = [
        (edge - soft, SCLERA),
        (edge + soft, tuple(0.35 * each for each in IRIS)),
        (edge + 0.035, IRIS),
        (pupil - 0.03, tuple(1.5 * each for each in IRIS)),
        (pupil - 0.004, tuple(0.8 * each for each in IRIS)),
        (pupil + 0.001, (0.004, 0.004, 0.004)),
    ]
    while len(ramp.elements) < len(stops):
        ramp.elements.new(1.0)
    for element, (position, colour) in zip(ramp.elements, stops, strict=True):
        element.position = position
        element.color = (*colour, 1)

"""The studio of the job: photographs of the finished work by Cycles on the processor, and the saved scene.

Everything is built in a scene of its own and taken away again, so an open file stays as it was.
"""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...job.studio import FINDING, Picture
from ...steps.workpiece import Eye, Workpiece
from ..scene import exchange, materials
from ..scene.own_data import own_data
from ..scene.quiet import quiet
from . import blend_file, lighting
from .cameras import View, aim, new_camera
from .cut_views import cut_views
from .drawn_apart import drawn_apart
from .finding_views import finding_views
from .keyed import keyed_views

PIXELS, PIXELS_NEAR, PIXELS_FINDING = 900, 720, 420
"""Sides of a picture of the whole, of one that shows a part of it large, and of a close-up of a finding."""
SAMPLES, SAMPLES_UNCLEANED = 6, 24  # the second where this build of the host has no denoiser
CREASE = np.radians(35)
"""Edges sharper than this are drawn as edges, so that a cut or a bore does not look melted."""


class BlenderStudio:
    """Takes the pictures and saves the scene with the Blender this runs in. See `job.studio.Studio`."""

    def pictures(self, piece: Workpiece, progress: Progress = SILENT) -> list[Picture]:
        """All pictures the workpiece has the makings of, in the report's order."""
        if not piece.all_parts():
            return []
        with own_data(), tempfile.TemporaryDirectory() as folder:
            with quiet():  # the renderer looks for a graphics card at first, and says so
                stage = Stage.built(piece)
            shots = list(_shots(piece, stage))
            taken = []
            for number, shot in enumerate(shots):
                progress(number / len(shots), f"picture {number + 1} of {len(shots)}: {shot.view.title}")
                taken.append(stage.photograph(shot, Path(folder)))
            return taken

    def save_blend(self, piece: Workpiece, path: Path) -> None:
        """The workpiece as a scene that opens looking at the head."""
        blend_file.save(piece, path)


@dataclass(frozen=True)
class Shot:
    """A view and what stands in it: objects to show, and how far each is moved from its place."""

    view: View
    shown: tuple[bpy.types.Object, ...]
    moved: dict[str, Vector] = field(default_factory=dict)


@dataclass(frozen=True)
class Stage:
    """The scene the pictures are taken in."""

    scene: bpy.types.Scene
    camera: bpy.types.Object
    turntable: bpy.types.Object
    parts: dict[str, bpy.types.Object]
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    @classmethod
    def built(cls, piece: Workpiece) -> "Stage":
        """The parts on the paper, lit."""
        scene = bpy.data.scenes.new("Canthus Studio")
        scene.unit_settings.scale_length = 0.001
        _choose_renderer(scene)
        parts = {name: _stand(scene, name, mesh, piece) for name, mesh in piece.all_parts().items()}
        every = np.concatenate([mesh.vertices for mesh in piece.all_parts().values()])
        low, high = every.min(axis=0), every.max(axis=0)
        size = float((high - low).max())
        turntable = lighting.studio_light(scene, Vector((low + high) / 2), size, float(low[2]))
        return cls(scene, new_camera(scene), turntable, parts, low, high)

    @property
    def centre(self) -> NDArray[np.float64]:
        """The middle of all that stands there."""
        return (self.low + self.high) / 2

    @property
    def size(self) -> float:
        """The longest side of all that stands there, millimetres."""
        return float((self.high - self.low).max())

    def add(self, name: str, mesh: Mesh, piece: Workpiece) -> bpy.types.Object:
        """One more thing, hidden until a shot shows it."""
        return _stand(self.scene, name, mesh, piece)

    def photograph(self, shot: Shot, folder: Path) -> Picture:
        """Show what belongs to the shot, turn lights and camera to it, render."""
        for thing in self.scene.objects:
            if thing.type == "MESH" and thing.parent is None:
                thing.hide_render = thing not in shot.shown
                thing.location = shot.moved.get(thing.name, Vector())
        self.turntable.rotation_euler = (np.radians(-shot.view.tilt), 0.0, np.radians(shot.view.azimuth))
        aim(self.camera, shot.view)
        path = folder / f"{shot.view.name}.png"
        self.scene.render.filepath = str(path)
        pixels = PIXELS_NEAR if shot.view.width < 0.5 * self.size else PIXELS
        if shot.view.name.startswith(FINDING):
            pixels = PIXELS_FINDING
        self.scene.render.resolution_x = self.scene.render.resolution_y = pixels
        with quiet():
            bpy.ops.render.render(write_still=True, scene=self.scene.name)
        return Picture(shot.view.name, shot.view.title, path.read_bytes())


def _shots(piece: Workpiece, stage: Stage) -> Iterator[Shot]:
    def add(name: str, mesh: Mesh) -> bpy.types.Object:
        return stage.add(name, mesh, piece)

    whole = tuple(stage.parts.values())
    target, width = tuple(stage.centre), 1.22 * stage.size
    for name, title, azimuth in (
        ("front", "Front", 0),
        ("three-quarter", "Three-quarter, the sitter's left", 40),
        ("side", "Side, the sitter's left", 90),
        ("back", "Back", 180),
    ):
        yield Shot(View(name, title, azimuth, 4, target, width), whole)
    for eye in piece.eyes:
        reach = 1.9 * _globe(eye)
        for name, title, azimuth in (("front", "from the front", 0), ("three-quarter", "three-quarter", 38)):
            turn = azimuth if eye.side == "left" else -azimuth
            view = View(f"eye-{eye.side}-{name}", f"The {eye.side} eye, {title}", turn, 3, _lid_plane(eye), reach)
            yield Shot(view, whole)
    for view, shown in cut_views(piece, target, width, add):
        yield Shot(view, shown)
    if len(stage.parts) > 1:
        yield Shot(*drawn_apart(piece, stage.parts, add))
    for view, shown in keyed_views(piece, stage.parts, add):
        yield Shot(view, shown)
    for view, shown in finding_views(piece, stage.parts, add):
        yield Shot(view, shown)


def _globe(eye: Eye) -> float:
    return max(eye.diameter, 1e-3)


def _lid_plane(eye: Eye) -> tuple[float, float, float]:
    """A point on the globe's front, where the lids are."""
    x, y, z = np.asarray(eye.centre) + np.array([0.0, -0.35, 0.0]) * eye.diameter
    return float(x), float(y), float(z)


def _stand(scene: bpy.types.Scene, name: str, mesh: Mesh, piece: Workpiece) -> bpy.types.Object:
    data = exchange.new_data(f"Canthus {name}", Mesh(mesh.vertices, mesh.triangles), 1.0)
    data.shade_smooth()
    data.set_sharp_from_angle(angle=CREASE)
    data.materials.append(part_material(name, piece))
    thing = bpy.data.objects.new(data.name, data)
    scene.collection.objects.link(thing)
    return thing


def part_material(name: str, piece: Workpiece) -> bpy.types.Material:
    """Painted eyes for the eyes, resin for all else."""
    for eye in piece.eyes:
        if name.endswith(f"eye-{eye.side}"):
            return materials.eye(eye.side, np.asarray(eye.centre), np.asarray(eye.gaze))
    return materials.resin()


def _choose_renderer(scene: bpy.types.Scene) -> None:
    """Cycles on the processor: the other renderer wants a graphics card, which a headless machine may lack."""
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device, cycles.samples = "CPU", SAMPLES
    _choose_cleaning(cycles)
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 3, 2, 1
    cycles.use_light_tree = False  # four lights: choosing among them costs more than it saves
    cycles.use_adaptive_sampling, cycles.adaptive_threshold = True, 0.05
    cycles.seed = 0
    scene.render.resolution_percentage = 100
    scene.render.use_persistent_data = True
    scene.render.image_settings.file_format = "PNG"
    scene.render.image_settings.color_mode = "RGB"
    scene.render.image_settings.compression = 60
    scene.view_settings.view_transform = "Standard"
    scene.view_settings.look = "None"


def _choose_cleaning(cycles: bpy.types.PropertyGroup) -> None:
    """Take the noise out of few samples; where this build of the host has nothing to do so with, take more of them."""
    cycles.use_denoising = True
    try:
        cycles.denoiser = "OPENIMAGEDENOISE"
    except TypeError:  # how the host refuses a choice it was not built with; distributions leave this one out
        cycles.use_denoising, cycles.samples = False, SAMPLES_UNCLEANED
        return
    # The quick prefilter: with the accurate one cleaning a picture of 900 pixels costs ten times the rendering of it.
    cycles.denoising_prefilter, cycles.denoising_quality = "FAST", "BALANCED"

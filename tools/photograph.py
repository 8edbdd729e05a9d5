"""Take photographs of the demo head and mark them, as a user would to place its eyes by.

    python tools/photograph.py --out DIR [--person 0] [--seed 0] [--error 1] [--width 1500] [--samples 16]

DIR gets three JPEG pictures rendered by Blender, `photographs.json` with their marks, and `photographs.truth.json`.
"""

import argparse
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import environment


def main(arguments: list[str]) -> int:
    """Run the command; 0 when the pictures are written."""
    parser = argparse.ArgumentParser(description="Take photographs of the demo head")
    parser.add_argument("--out", type=Path, required=True, help="folder for the pictures and their marks")
    parser.add_argument("--person", type=int, default=0, help="seed of the demo head; 0 is the portrait")
    parser.add_argument("--seed", type=int, default=0, help="of the cameras and the error of the marks")
    parser.add_argument("--error", type=float, default=1.0, help="standard deviation of a mark, pixels in x and in y")
    parser.add_argument("--width", type=int, default=1500, help="of each picture, pixels; it is a third higher")
    parser.add_argument("--samples", type=int, default=16, help="rays a pixel: more is cleaner and slower")
    parser.add_argument("--grid", type=float, default=0.8, help="grid of the demo head (mm)")
    given = parser.parse_args(arguments)
    from canthus.files.photo_marks import photo_marks_text
    from demo_head.build import build
    from photographer import photographed

    head = build(given.person, given.grid)
    size = (given.width, given.width * 4 // 3)
    photographs, cameras = photographed(head.truth, "front and both sides", given.seed, given.error, size=size)
    given.out.mkdir(parents=True, exist_ok=True)
    take(head.mesh, photographs, cameras, given.out, given.samples)
    (given.out / "photographs.json").write_text(photo_marks_text(photographs, ".json"), encoding="utf-8")
    known = {side: {"centre": eye.centre.tolist(), "radius": eye.radius} for side, eye in head.truth.eyes.items()}
    (given.out / "photographs.truth.json").write_text(json.dumps({"eyes": known}, indent=1) + "\n")
    print(f"{given.out}: {', '.join(each.file for each in photographs)} and their marks")
    return 0


def take(mesh, photographs, cameras, folder, samples):
    """Render the head as each camera sees it, in daylight from the left."""
    import bpy
    from canthus.host.scene import exchange
    from canthus.host.scene.photo_cameras import aim_as
    from mathutils import Vector

    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    scene = bpy.context.scene
    skin = bpy.data.materials.new("Skin")
    scene.world = bpy.data.worlds.new("Sky")
    if bpy.app.version < (5, 0, 0):
        skin.use_nodes = scene.world.use_nodes = True  # later hosts always do, and warn
    nodes = skin.node_tree.nodes
    paint = nodes.new("ShaderNodeVertexColor")
    paint.layer_name = exchange.COLOUR
    skin.node_tree.links.new(paint.outputs["Color"], nodes["Principled BSDF"].inputs["Base Color"])
    data = exchange.new_data("Head", mesh, 1.0)
    data.shade_smooth()
    data.materials.append(skin)
    scene.collection.objects.link(bpy.data.objects.new("Head", data))
    sky = scene.world.node_tree.nodes["Background"]
    sky.inputs["Color"].default_value, sky.inputs["Strength"].default_value = (0.55, 0.6, 0.66, 1.0), 0.7
    for towards, strength in (((-600, -900, 500), 2.2), ((700, -700, 200), 1.0)):
        lamp = bpy.data.lights.new("Sun", "SUN")
        lamp.energy, lamp.angle = strength, 0.3
        thing = bpy.data.objects.new("Sun", lamp)
        thing.rotation_euler = Vector(towards).to_track_quat("Z", "Y").to_euler()
        scene.collection.objects.link(thing)
    scene.render.engine = "CYCLES"
    scene.cycles.device, scene.cycles.samples, scene.cycles.use_denoising = "CPU", samples, True
    scene.view_settings.view_transform = "Standard"
    scene.render.image_settings.file_format, scene.render.image_settings.quality = "JPEG", 90
    for photograph, camera in zip(photographs, cameras, strict=True):
        eye = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
        scene.collection.objects.link(eye)
        aim_as(eye, camera, 1.0)
        scene.camera = eye
        scene.render.resolution_x, scene.render.resolution_y = photograph.size
        scene.render.filepath = str(folder / photograph.file)
        bpy.ops.render.render(write_still=True)


if __name__ == "__main__":
    environment.enter("test", "host")
    sys.exit(main(sys.argv[1:]))

"""Pictures of what not every head goes through: the wall to come, brows, relief, hair, a comparison.

    blender HEAD.blend --factory-startup --python tools/window_detail.py -- HAIR_DIR OUT_DIR [NAME ...]

Runs inside that Blender. HEAD.blend holds a head with eyes, such as the third demo scene; HAIR_DIR is what
`tools/demo_hair.py` wrote. Each NAME is one of `SCENES`; all of them by default.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

import bpy
from window import enable, picture, play, press, running, sidebar_shown, view
from window_hands import FACING


def collection() -> bpy.types.Collection:
    """The head's."""
    from canthus.host.scene import scene_piece

    return scene_piece.pieces_in(bpy.context.scene)[0]


def done(name: str, **settings: object) -> Iterator[float]:
    """Press a step and wait for it."""
    begun = time.perf_counter()
    press(name, **settings)
    while running():
        yield 0.1
    yield 0.7
    print(f"{name}: {time.perf_counter() - begun:.1f} s", flush=True)


def near(name: str, share: float) -> Iterator[float]:
    """Look at a landmark from the front, at a share of the distance the whole head is seen from."""
    from canthus.host.buttons import viewport
    from canthus.host.scene import scene_piece

    viewport.show_piece(bpy.context, collection())
    space = view()[1].spaces[0].region_3d
    place = scene_piece.object_with(collection(), f"landmark/{name}").matrix_basis.translation
    space.view_rotation, space.view_location = FACING, place
    space.view_distance *= share
    yield 1.0


def wall(folder: Path, _: Path) -> Iterator[float]:
    """Where the inner face of Hollow would lie, from the side and from above."""
    wanted = bpy.context.window_manager.canthus_overlays
    for axis in "xz":
        wanted.wall, wanted.axis = True, axis
        yield 0.7
        picture(folder, f"wall-to-come-{axis}")
    wanted.wall = False


def brows(folder: Path, _: Path) -> Iterator[float]:
    """The edges laid as curves, then the strokes along them."""
    press("brow_curves", "EXEC_DEFAULT")
    yield from near("glabella", 0.3)
    picture(folder, "brow-curves")
    yield from done("brows")
    picture(folder, "brows")


def relief(folder: Path, _: Path) -> Iterator[float]:
    """Pores and lines beside the nose."""
    yield from done("relief")
    yield from near("subnasale", 0.3)
    picture(folder, "relief")


def hair(folder: Path, files: Path) -> Iterator[float]:
    """Hair made for another head, on this one."""
    from canthus.host.buttons import viewport

    yield from done("fit_hair", hair=str(files / "old-hair.ply"), old_head=str(files / "old-head.ply"))
    viewport.show_piece(bpy.context, collection())
    yield 1.0
    picture(folder, "hair")


def compared(folder: Path, _: Path) -> Iterator[float]:
    """The head in the colours of how far it lies from itself before anything was cut, with their legend."""
    from canthus.host.buttons import viewport
    from canthus.host.scene import scene_piece

    viewport.show_piece(bpy.context, collection())
    skin = scene_piece.object_with(collection(), "skin")
    if skin is None:
        print("there is no form from before to compare with", flush=True)
        return
    press("compare", "EXEC_DEFAULT")
    yield 0.7
    picture(folder, "compared")
    press("show_map", "EXEC_DEFAULT", column="")


SCENES = {"wall": wall, "brows": brows, "relief": relief, "hair": hair, "compared": compared}


def detail(files: Path, folder: Path, names: list[str]) -> Iterator[float]:
    """The scenes asked for, on the head of the open file."""
    enable()
    yield from sidebar_shown()
    yield 0.5
    for name in names:
        yield from SCENES[name](folder, files)


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out", "/out"]
    play(detail(Path(words[0]), Path(words[1]), words[2:] or list(SCENES)))


start()

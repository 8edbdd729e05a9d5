"""Every long button of a real Blender's window given up with Esc, let go on, undone and done again.

    blender [HEAD.blend] --factory-startup --python tools/window_given_up.py -- HAIR_DIR [NAME ...]

Each NAME is a button; all those of `ON_A_HEAD` by default, or of `ON_A_CAPTURE` where no head is open: then
HAIR_DIR/capture.ply is loaded first. HAIR_DIR holds what `tools/demo_hair.py` wrote. After each of the four the scene
is compared with what it was, to the last bit of every vertex, value and record.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

import bpy
from window import enable, play, press, running, sidebar_shown
from window_state import begun, escaped, fingerprint

ON_A_HEAD = (
    *("compare", "brow_curves", "relief", "fit_hair", "brows", "fit_base", "smooth", "reduce", "drop_islands", "patch"),
    *(
        "landmarks",
        "place_eyes",
        "rebuild_lids",
        "carve_sockets",
        "make_eyes",
        "neck",
        "hollow",
        "key",
        "vent",
        "check",
    ),
)
ON_A_CAPTURE = ("make", "assess", "cull_strays", "cull_lashes", "merge_layers", "denoise", "close")
KEPT = ("neck", "hollow", "key", "vent", "close", "cull_strays", "cull_lashes", "merge_layers", "denoise")
"""What the next buttons build on; the others are undone at the end."""


def tried(name: str, settings: dict[str, str]) -> Iterator[float]:
    """One button: given up, let go on, undone, done again; each told."""
    if name == "compare":
        two_chosen()
    before = fingerprint()
    try:
        press(name, **settings)
    except RuntimeError as error:
        print(f"{name}: refused: {error}", flush=True)
        return
    yield from begun()
    if running():
        at = bpy.context.window_manager.canthus.what
        started = time.perf_counter()
        yield from escaped()
        took, same = time.perf_counter() - started, before == fingerprint()
        print(f"{name}: Esc while '{at}' ended it after {took:.2f} s; as before: {same}", flush=True)
        yield 0.3
        press(name, **settings)
        while running():
            yield 0.1
    else:
        print(f"{name}: done before it could be given up", flush=True)
    yield 0.3
    after = fingerprint()
    bpy.ops.ed.undo()
    yield 0.3
    undone = before == fingerprint()
    bpy.ops.ed.redo()
    yield 0.3
    again = after == fingerprint()
    print(f"{name}: changed: {before != after}; undone as before: {undone}; done again as after: {again}", flush=True)
    if name not in KEPT:
        bpy.ops.ed.undo()
        yield 0.3
    made_active()


def made_active() -> None:
    """After an undo the head is another object to the host: make it the active one again."""
    from canthus.host.scene import scene_piece

    for collection in scene_piece.pieces_in(bpy.context.scene):
        thing = scene_piece.object_with(collection, "head") or scene_piece.object_with(collection, "scan")
        bpy.context.view_layer.objects.active = thing


def two_chosen() -> None:
    """The head, to be colored, and an eye that it is judged by."""
    from canthus.host.scene import scene_piece

    scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "parts/eye-left").select_set(True)


def all_tried(files: Path, names: list[str]) -> Iterator[float]:
    """The buttons asked for, on the head of the open file or on a capture."""
    enable()
    from canthus.host.scene import scene_piece

    yield from sidebar_shown()
    yield 0.5
    if not scene_piece.pieces_in(bpy.context.scene):
        press("load", "EXEC_DEFAULT", filepath=str(files / "capture.ply"))
        names = names or list(ON_A_CAPTURE)
    made_active()
    yield 1.0
    hair = {"hair": str(files / "old-hair.ply"), "old_head": str(files / "old-head.ply")}
    for name in names or ON_A_HEAD:
        yield from tried(name, hair if name == "fit_hair" else {})


def _asked_for() -> list[str]:
    """Names in /out/names, where no words can be given."""
    asked = Path("/out/names")
    return asked.read_text(encoding="utf-8").split() if asked.exists() else []


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out", *_asked_for()]
    play(all_tried(Path(words[0]), words[1:]))


start()

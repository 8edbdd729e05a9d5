"""Makes `addon/anatomy/skin/base-head.npz` anew: `python3 tools/base_head/build.py [OUT.npz]`."""

import sys
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
STORED = ROOT / "addon" / "anatomy" / "skin" / "base-head.npz"


def built() -> dict[str, np.ndarray[Any, Any]]:
    """What the file holds, by name: the plan's faces, the vertices two levels finer, texture places, marks, regions."""
    from canthus.anatomy.skin.base_head import FINEST_MM, FINEST_UV
    from canthus.anatomy.skin.region_names import REGIONS
    from canthus.geometry.quad_meshes.quads_fairing import faired

    from base_head import ears, easing, form, laying, layout, unwrapping

    plan = layout.drawn()
    now, marks = laying.laid(plan)
    now.vertices = ears.with_ears(now)
    places = form.landmarks()
    now.vertices = easing.eased(now, marks, places)
    reach = np.full(len(now.vertices), 3.0)
    reach[list(marks.values())] = 0.5
    reach[[row for name, row in marks.items() if name.startswith(("endo", "exo"))]] = 0.9
    reach[[row for name, row in marks.items() if name.startswith("chei")]] = 2.0
    reach[now.lines["neck"]] = 0.0
    now.vertices = faired(now.vertices, now.quads, reach, image=now.image)
    tragion = places["tragion-left"]
    marks["tragion-left"] = int(np.argmin(np.linalg.norm(now.vertices - tragion, axis=1)))
    marks["tragion-right"] = int(now.image[marks["tragion-left"]])
    uv, uv_quads = unwrapping.unwrapped(now, plan)
    names = sorted(marks)
    return {
        "quads": plan.quads.astype(np.int16),
        "vertices": np.rint(now.vertices / FINEST_MM).astype(np.int16),
        "uv": np.rint(uv / FINEST_UV).astype(np.uint16),
        "uv_quads": uv_quads.astype(np.int16),
        "regions": np.array([REGIONS.index(label) for label in plan.labels], np.uint8),
        "landmark_names": np.array(names),
        "landmark_rows": np.array([marks[name] for name in names], np.int32),
    }


def main(words: list[str]) -> int:
    """Write the file; 0 when done."""
    out = Path(words[0]) if words else STORED
    arrays = built()
    with out.open("wb") as file:
        np.savez_compressed(file, **arrays)  # type: ignore[arg-type]
    print(f"{out}: {16 * len(arrays['quads'])} faces, {len(arrays['vertices'])} vertices, {out.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.path[:0] = [str(ROOT / "tools")]
    import environment

    environment.enter("test", pythons=("3.11", "3.13"))
    sys.exit(main(sys.argv[1:]))

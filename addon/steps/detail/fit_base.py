"""The step that draws a base head of clean quads onto the scan."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.landmark_files import read_landmarks
from ...geometry.cloud import Cloud
from ...geometry.errors import BadSetting, NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import ON_SKIN, kinds
from ..step import Step, setting
from ..workpiece import Workpiece
from .base_sides import ears_unmarked, eyes_shut, of_sides

if TYPE_CHECKING:
    from ...anatomy.skin.base_head import BaseHead

_UNSEEN = 3.0
"""Millimetres from the nearest point of the scan beyond which a closed head's surface was made up."""


@dataclass(frozen=True)
class FitBase(Step):
    """Draw a base head of clean quads onto the scan by matching points, and put the scan's detail on it.

    The landmarks are the matching points, and those of `pairs`. Where the scan shows nothing the base keeps its shape
    and follows smoothly. The result is the head from here on, its neck closed.
    """

    NAME = "fit-base"
    STAGE = "detail"
    NEEDS = ("head", "landmarks")
    READS = ON_SKIN - kinds("head") | kinds("skin", "scan")
    CHANGES = kinds("head", "skin")

    level: int = setting(2, low=0, high=3, help="Levels of subdivision, each with a quarter of the faces' area")
    base: str = setting("", kind="path", help="OBJ of four-cornered faces to fit instead of the base head, millimetres")
    base_landmarks: str = setting("", kind="path", help="Landmarks of your own base, .json or .csv, in its coordinates")
    pairs: str = setting("", help="More matching points, on the base and on the head: x,y,z=x,y,z; x,y,z=x,y,z")
    weak: bool = setting(False, help="Rely on landmarks of low confidence too")
    save: str = setting("", help="OBJ to write the fitted quads to, with texture places; colours beside it as PNG")
    texture: int = setting(2048, low=256, high=8192, help="Pixels along a side of that picture")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with the fitted base as its head.

        Notes
        -----
        A closed head is drawn to where the scan's points lie within 3 mm: the rest of it was made up.
        """
        from ...anatomy.skin.base_fit import fit_base
        from ...geometry.quad_meshes.goal import Goal

        base = self._base()
        life = piece.moved(np.diag([*[1.0 / piece.scale] * 3, 1.0]))
        progress(0.0, "arranging the scan")
        surface, unseen, cut = _target(life)
        pairs, shut = self._pairs(base, life), eyes_shut(life)
        bare = ears_unmarked(base, pairs)
        alone = of_sides(base, shut, "lids", "eyes") | of_sides(base, bare, "ears")
        for lid in (f"palpebrale-{lid}-{side}" for side in shut for lid in ("superius", "inferius")):
            pairs.pop(base.landmarks.get(lid, -1), None)
        fit = fit_base(base, Goal(surface, unseen), pairs, self.level, progress.stretch(0.05, 0.9), alone)
        progress(0.9, "measuring the fit")
        head = _closed(fit.head, _colours(fit.head.vertices, life))
        if self.save:
            _write(Path(self.save), fit.head, life, self.texture)
        scaled = head.moved(np.diag([*[piece.scale] * 3, 1.0]))
        done = piece.but(head=scaled, skin=scaled).measured(**_figures(fit.head, fit.seen, surface, unseen))
        done = done.measured(faces=len(fit.head.quads), folded_faces=fit.folded)
        if cut:
            done = done.noted("The scan was cut off flat: beyond the cut the base keeps its own shape")
        for side in shut:
            done = done.noted(f"The {side} eye was scanned shut: the base's open lids were kept there")
        for side in bare:
            done = done.noted(
                f"The {side} ear has no sure landmark: the base's own was kept there; set its tragion to have it drawn"
            )
        for name, gap in fit.doubted.items():
            done = done.noted(f"Pairs contradict each other: {name} is {gap:.0f} mm from where the others put it")
        if fit.folded:
            done = done.noted(f"{fit.folded} faces fold where the scan is narrower than the base's faces: smooth there")
        return done

    def _base(self) -> "BaseHead":
        from ...anatomy.skin.base_head import BaseHead, own_base, regions_named

        if not self.base:
            if self.base_landmarks:
                raise BadSetting("fit-base: base_landmarks belong to a base of your own: give it as base")
            return own_base()
        from ...files.quads_obj import read_quads

        found, marks = read_quads(self.base), {}
        if self.base_landmarks:
            for name, (*place, _) in read_landmarks(self.base_landmarks).items():
                marks[name] = int(np.argmin(np.linalg.norm(found.vertices - np.array(place), axis=1)))
        elif not self.pairs:
            raise BadSetting("fit-base: your own base needs base_landmarks, or pairs: there is nothing to match it by")
        return BaseHead(found.vertices, found.quads, marks, regions_named(found.groups), found.uv, found.uv_quads)

    def _pairs(self, base: "BaseHead", life: Workpiece) -> dict[int, NDArray[np.float64]]:
        """Vertex of the base to its place, life size. The head's highest point is none: hair counts to it."""
        pairs = {
            base.landmarks[name]: np.asarray(mark.position)
            for name, mark in life.landmarks.items()
            if name in base.landmarks and name != "vertex" and (mark.sure or self.weak)
        }
        for words in filter(None, map(str.strip, self.pairs.split(";"))):
            on_base, _, on_head = words.partition("=")
            vertex = int(np.argmin(np.linalg.norm(base.vertices - _point(on_base, words), axis=1)))
            pairs[vertex] = _point(on_head, words) / life.scale
        return pairs


def _point(words: str, whole: str) -> NDArray[np.float64]:
    try:
        place = np.array([float(word) for word in words.replace(",", " ").split()])
    except ValueError:
        place = np.zeros(0)
    if place.shape != (3,):
        raise BadSetting(f"fit-base: pairs takes x,y,z=x,y,z; ..., not {whole!r}")
    return place


def _target(piece: Workpiece) -> tuple[Mesh, NDArray[np.bool_] | None, bool]:
    """The surface the scan shows, which of its vertices were made up or cut flat, and whether it was cut flat."""
    from scipy.spatial import cKDTree

    from ...geometry.mending.flat_cuts import cut_flat

    if isinstance(piece.scan, Mesh) and len(piece.scan.triangles):
        cut = cut_flat(piece.scan)
        return piece.scan, cut if cut.any() else None, bool(cut.any())
    surface = piece.skin or piece.head
    if surface is None:
        raise NotReady("there is no surface to draw the base to: run close first")
    if not isinstance(piece.scan, Cloud):
        return surface, None, False
    away, _ = cKDTree(piece.scan.points).query(surface.vertices, distance_upper_bound=_UNSEEN, workers=-1)
    return surface, ~np.isfinite(away), False


def _figures(
    head: "BaseHead", seen: NDArray[np.float64], surface: Mesh, unseen: NDArray[np.bool_] | None
) -> dict[str, float]:
    """How near the fitted base came to what was seen, ears apart, and how even its faces are."""
    from ...geometry.distances.closest import ClosestPoint
    from ...geometry.quad_meshes.quads import corner_angles

    away, triangle, _ = ClosestPoint(surface).query(head.vertices)
    drawn = seen > 0.05
    if unseen is not None:
        drawn &= ~unseen[surface.triangles[triangle]].any(axis=1)
    ears = head.in_region("ears")
    least = np.degrees(corner_angles(head.vertices, head.quads).min(axis=1))

    def rms(mask: NDArray[np.bool_]) -> float:
        return float(np.sqrt((away[mask] ** 2).mean())) if mask.any() else float("nan")

    return {
        "seen_percent": round(100 * float(drawn.mean()), 1),
        "rms_mm": round(rms(drawn & ~ears), 4),
        "ears_rms_mm": round(rms(drawn & ears), 4),
        "faces_under_20_deg_percent": round(100 * float((least < 20).mean()), 3),
    }


def _colours(vertices: NDArray[np.float64], piece: Workpiece) -> NDArray[np.uint8] | None:
    """The scan's colours at these places: those of its nearest point."""
    from scipy.spatial import cKDTree

    scan = piece.scan
    if scan is None or scan.colours is None:
        return None
    points = scan.points if isinstance(scan, Cloud) else scan.vertices
    nearest = cKDTree(points).query(vertices, workers=-1)[1]
    return np.asarray(scan.colours[nearest])


def _closed(head: "BaseHead", colours: NDArray[np.uint8] | None) -> Mesh:
    """The quads as triangles, every rim closed, the regions as a column."""
    from ...anatomy.skin.region_names import REGION_COLUMN
    from ...geometry.quad_meshes.capping import capped

    mesh, beside = capped(head.vertices, head.quads)
    region = np.zeros(len(head.vertices), np.uint8)
    columns = {}
    if head.region is not None:
        region[head.quads] = head.region[:, None]
        columns[REGION_COLUMN] = np.append(region, region[beside])
    return Mesh(
        mesh.vertices, mesh.triangles, None if colours is None else np.vstack([colours, colours[beside]]), columns
    )


def _write(path: Path, head: "BaseHead", piece: Workpiece, size: int) -> None:
    """The quads as OBJ, their regions as groups; where the scan has colours, with them as a picture over the quads."""
    from ...anatomy.skin.region_names import REGIONS
    from ...files.png import write_png
    from ...files.quads_obj import QuadsFile, write_quads
    from ...files.writing import whole_file
    from ...geometry.quad_meshes.texture import spread_out

    if path.suffix.lower() != ".obj":
        raise BadSetting(f"fit-base: save takes a name that ends in .obj, not {path.name!r}")
    groups = None if head.region is None else np.array(REGIONS)[head.region]
    quads = QuadsFile(head.vertices, head.quads, head.uv, head.uv_quads, groups)
    if head.uv is None or head.uv_quads is None or piece.scan is None or piece.scan.colours is None:
        with whole_file(path, overwrite=True) as file:
            write_quads(file, quads)
        return
    places, _ = spread_out(head.vertices, head.quads, head.uv, head.uv_quads, size)
    colours = _colours(places.reshape(-1, 3).astype(np.float64), piece)
    assert colours is not None
    picture = path.with_suffix(".png")
    with whole_file(picture, overwrite=True) as file:
        write_png(file, colours.reshape(size, size, 3))
    with (
        whole_file(path, overwrite=True) as file,
        whole_file(path.with_suffix(".mtl"), overwrite=True) as library,
    ):
        write_quads(file, quads, picture.name, library)

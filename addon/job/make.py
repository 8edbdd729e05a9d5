"""The whole job: scans in; parts, report, recipe and scene out."""

import dataclasses
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..files.parts import ready_for_files
from ..files.png import write_png
from ..files.writing import write
from ..geometry.errors import BadMesh, NotReady
from ..geometry.progress import SILENT, Progress
from ..steps.output.shrinkage import as_exported
from ..steps.workpiece import Check, Workpiece
from .chain import SPARED
from .compare import coloured
from .eye_drawings import eye_drawings
from .heat_picture import heat_picture
from .likeness import Likeness, likeness
from .order import Order, recipe_of, refuse_overwriting, scans_of
from .page import page
from .plain import as_json
from .recipe import Recipe, input_at, named_files, written
from .report import report
from .run import run
from .sidecar import scanned
from .staging import staged
from .studio import Picture, Studio
from .versions import own_version

WITHOUT_BLENDER = "Without Blender the pictures and the .blend are left out"


@dataclass(frozen=True)
class Outcome:
    """What came of it: the workpiece, the report's figures, and what was left out, each in a sentence."""

    piece: Workpiece
    figures: Mapping[str, Any]
    left_out: tuple[str, ...]

    @property
    def printable(self) -> bool:
        """Whether no check found what should not be printed."""
        return bool(self.figures["printable"])


def make(order: Order, progress: Progress = SILENT, studio: Studio | None = None) -> Outcome:
    """Run the chain, or a recipe, and write the results.

    Parameters
    ----------
    order : scans, output folder, settings
    progress : told the step and what it is doing
    studio : takes the pictures and saves the scene; None where there is no Blender

    Returns
    -------
    The finished workpiece and its figures. In the output folder: `parts/*.stl`, `NAME.3mf`, `NAME.blend`,
    `report.html`, `report.json`, `recipe.toml`, and where there was a scan `likeness.ply`, `likeness.png`.

    Raises
    ------
    CanthusError
        A scan cannot be read, a setting is wrong, a step cannot do its work, results are in the way.
    Cancelled
        The listener stopped the work. Nothing is left on disk.
    """
    recipe = recipe_of(order)
    refuse_overwriting(order, recipe.name)
    progress(0.0, "reading the scan")
    scans = scans_of(order, recipe)
    begun = scanned(scans).but(name=recipe.name)
    made = run(recipe.steps, begun, progress.stretch(0.02, 0.75), SPARED)
    piece = fit_for_files(made)
    sent = fit_for_files(as_exported(made)) if made.shrinkage else piece
    pictures = [] if studio is None else studio.pictures(piece, progress.stretch(0.75, 0.97))
    left_out = () if studio else (WITHOUT_BLENDER,)
    progress(0.97, "writing the results")
    with staged(order.out) as waiting:
        recipe = _with_fingerprints(recipe, scans, order.out)
        figures = _written(waiting, piece, sent, pictures, left_out)
        text = written(recipe, own_version(), order.out)
        (waiting / "recipe.toml").write_text(text, encoding="utf-8")
        if studio is not None:
            studio.save_blend(piece, waiting / f"{piece.name}.blend")
        progress(1.0, "done")
    return Outcome(piece, figures, left_out)


def fit_for_files(piece: Workpiece) -> Workpiece:
    """Every part on the 32-bit numbers of the files, so that what is reported and shown is what is printed.

    A part that cannot leave closed is left as it is, with a finding that forbids printing it.

    Raises
    ------
    NotReady
        There is no part at all.
    """
    if not piece.all_parts():
        raise NotReady("these steps make no part: leave close in")
    ready, findings = {}, []
    for name, part in piece.all_parts().items():
        try:
            ready[name] = ready_for_files(name, part)
        except BadMesh as fault:
            ready[name] = part
            findings.append(Check(f"{name}: closed, outward, fit for files", 0, 1, "", False, name, True, str(fault)))
    head = ready.pop("head", None)
    return piece.but(head=head, parts=ready, checks=(*piece.checks, *findings))


def _with_fingerprints(recipe: Recipe, scans: Sequence[Path], folder: Path) -> Recipe:
    """The recipe with the files it depends on, as seen from its folder."""
    files = sorted({file for step in recipe.steps for file in named_files(step).values()})
    return dataclasses.replace(
        recipe,
        inputs=tuple(input_at(scan, folder) for scan in scans),
        files=tuple(input_at(file, folder) for file in files),
    )


def _written(
    folder: Path, piece: Workpiece, sent: Workpiece, pictures: Sequence[Picture], left_out: tuple[str, ...]
) -> dict[str, Any]:
    """Write the parts as they are sent to the printer and the report of the piece, and give the report's figures."""
    parts = sent.all_parts()
    files = {name: f"parts/{name}.stl" for name in parts}
    (folder / "parts").mkdir()
    for name, part in parts.items():
        write(folder / files[name], part)
    thumbnail = pictures[0].png if pictures else None
    write(folder / f"{piece.name}.3mf", parts, thumbnail=thumbnail)
    near = likeness(piece)
    figures = report(piece, files, left_out, near, sent)
    heat = None if near is None else _heat(folder, near)
    (folder / "report.json").write_text(as_json(figures, indent=1) + "\n", encoding="utf-8")
    (folder / "report.html").write_text(page(figures, pictures, eye_drawings(piece), heat), encoding="utf-8")
    return figures


def _heat(folder: Path, near: Likeness) -> Picture:
    """The scan coloured by its distance from the head, as points and as a picture; the picture for the page too."""
    write(folder / "likeness.ply", coloured(near.cloud, near.values, near.reach))
    held = io.BytesIO()
    write_png(held, heat_picture(near.cloud, near.values, near.reach))
    (folder / "likeness.png").write_bytes(held.getvalue())
    return Picture("likeness", "Where the scan lies outside the head (red) and inside (blue), mm", held.getvalue())

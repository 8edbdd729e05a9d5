"""What each choice of a setting means, for its tooltip: the step says in one line what all of them are about."""

from ...anatomy.face import landmarks
from ...anatomy.face.units import MILLIMETRES
from ...anatomy.skin.region_names import SKIN
from ...files.photo_marks import PUPILS
from ...steps.output.fits import FITS
from ...steps.output.printers import PRINTERS
from .wording import sentence, title

_UNITS = {"auto": "Told from the size of the head; you are asked where that leaves a doubt"} | {
    unit: f"The file's numbers are {unit}" for unit in MILLIMETRES
}
_FITS = {
    fit: f"{clearance:g} mm between the two, over the diameter" if clearance else "No clearance is added or taken off"
    for fit, clearance in FITS.items()
}
_PRINTERS = {
    name: f"Plate of {each.plate[0]:g} x {each.plate[1]:g} mm, pixel {each.pixel:g} mm, layer {each.layer:g} mm"
    for name, each in PRINTERS.items()
}
_HELP = {
    "units": _UNITS,
    "hair_units": _UNITS,
    "fit": _FITS,
    "plug_fit": _FITS,
    "seat": _FITS | {"none": "No seat: the eye is held by the pocket alone"},
    "printer": _PRINTERS,
    "mode": {
        "remove": "Take these points out of the scan",
        "merge": "Lay the skins on each other",
        "mark": "Leave the scan as it is and show these points in a color of their own: a preview",
    },
    "sources": {
        "all": "Whatever the scan and the photographs tell, each weighed by how sure it is",
        "landmarks": "The corners of the lids and how deep a globe lies behind them",
        "lids": "The form of the lids where they lie on the globe",
        "sclera": "What shows of the globe between the lids",
        "photographs": "Pupils marked in photographs",
    },
    "hold": {
        "centre": "The center of the globe stays: turning the eye leaves it where it is",
        "front": "The front of the eye stays where it was between the lids",
    },
    "thicken": {
        "inward": "Set the eye back where its lids would be too thin to print",
        "outward": "Raise the lid instead; the eye stays",
        "true": "Set the eye back as far as the sitter's own lids are thick",
    },
    "form": {
        "round": "A whole ball",
        "half-round": "Half a ball with a flat back",
        "socket": "As the sockets were carved",
        "fixed": "Part of the head, to be painted",
    },
    "entry": {
        "behind": "Put in through the open head, against the back of the lids",
        "front": "Put in between the lids, which leaves the opening as wide as the eye",
    },
    "stem": {
        "round": "Behind eyes that are whole balls",
        "always": "Behind every eye",
        "never": "No eye gets one",
    },
    "iris": {
        "bulge": "A cornea stands out, with the pupil scribed on it",
        "sunk": "A flat recess to paint, under a clear dome",
    },
    "source": {
        "any": "Color where it tells, else relief, else the landmarks",
        "colour": "Where the scan is darker than the skin round it",
        "relief": "Where the scan stands off the skin round it",
        "landmarks": "As brows lie on most faces",
    },
    "found": {
        "best": "The scan where it shows an eye, else sure landmarks, else usual sizes",
        "scan": "The lids as they are seen in the scan",
        "landmarks": "The corners and margins that landmarks mark",
        "published": "Usual adult sizes, laid where the eye is",
    },
    "sides": {
        "both": "Both brows",
        "left": "The sitter's left brow",
        "right": "The sitter's right brow",
    },
    "start": {
        "suited": "Landmarks of both heads where there are any, else form",
        "landmarks": "The landmarks of both heads, brought together",
        "form": "The pose and size in which the inner side of the hair fits best",
        "placed": "Where it lies in the file, in the coordinates of the capture",
    },
    "plugs": {
        "none": "Leave the holes open",
        "straight": "A straight plug for every hole",
        "taper": "A plug that narrows inward and jams",
        "lip": "A plug with a lip in a recess, which cannot fall in",
    },
}
_OF_A_STEP = {
    ("compare", "fit"): {
        "none": "Nothing is moved",
        "all": "All of the active shape is laid on the other as it fits best, from wherever it lies",
        **{region: f"Laid on the other by its {region} alone" for region in SKIN},
    },
    ("neck", "kind"): {
        "peg": "A round peg under the neck",
        "cup": "A hollow for the ball of a body",
        "magnet": "A bore for a disc magnet",
    },
    ("key", "kind"): {
        "suited": "A rim where the parting is a plane, pins where it is a curve or hair",
        "rim": "A rim with a notch",
        "pins": "Pins in holes",
    },
}
"""Where steps mean different things by a setting of one name."""


def choice_help(step: str, setting: str, choice: str) -> str:
    """The tooltip of one choice. A choice without one is a bug: KeyError."""
    return (_OF_A_STEP.get((step, setting)) or _HELP[setting])[choice]


def mark_items(*others: str) -> list[tuple[str, str, str]]:
    """The landmarks as the host wants choices: name, label, where it lies; pupils first where they are asked for."""
    lies = {name: landmarks.definition(name) for name in landmarks.NAMES}
    lies = dict.fromkeys(others, "middle of the pupil, as it is seen") | lies
    return [(name, title(name), sentence(text[:1].upper() + text[1:])) for name, text in lies.items()]


PHOTO_MARKS = mark_items(*PUPILS)

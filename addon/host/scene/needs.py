"""What a step wants to find, told before its button is pressed. The step itself has the last word (`NotReady`)."""

from collections.abc import Iterable, Mapping
from typing import Any

_MISSING = {
    "piece": "There is no head in this scene: press Load Scan first",
    "scan": "There is no scan yet: press Load Scan first",
    "head": "There is no closed head yet: press Close first",
    "skin": "There is no head from before anything was cut: press Close first",
    "landmarks": "There are no landmarks yet: press Landmarks first",
    "eyes": "No eyes are placed yet: press Place Eyes first",
    "surface": "There is no surface yet: press Close first, or load a mesh",
    "scan or head": "There is no scan and no head yet: press Load Scan first",
}


def first_missing(needs: Iterable[str], held: Mapping[str, Any]) -> str:
    """The sentence that says which of the needs is not met, or "" where all are.

    Parameters
    ----------
    needs : as a step's `NEEDS`, or "piece" for anything of a head
    held : "piece", "scan", "head", "skin", "surface" (a head, or a scan with faces), "landmarks", "eyes" to whether
        the scene holds them
    """
    for need in needs:
        if not any(held.get(each) for each in need.split(" or ")):
            return _MISSING[need]
    return ""

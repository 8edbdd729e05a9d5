"""The whole head as one implicit form: masses first, then features, as a sculptor goes."""

import numpy as np

from . import ears, eyes, face, hair, mouth, nose, skull
from .eyes import EyeForm
from .shapes import Field, Points, within


def bare_head(points: Points) -> Field:
    """Head and neck with nose and mouth, no eyes, ears or hair."""
    skin = skull.body(points) - face.relief(points)
    skin = nose.nose(points, skin)
    return skin - mouth.relief(points)


def whole_head(points: Points, eye: EyeForm, haired: bool = True) -> Field:
    """Everything, closed by a level cut below the neck; without its hair where that is to be a part of its own."""
    form = bare_head(points)
    form = eyes.set_in(form, points, eye) - face.brows(points)
    if haired:
        form = hair.grown_on(form, points, skull.body)
    form = ears.set_on(form, points)
    return within(form, (skull.NECK_END - points[:, 2]).astype(np.float32), 1.0)

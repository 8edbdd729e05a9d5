"""The report as one page to print and lay beside the printer."""

import base64
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from .studio import Picture


def page(figures: Mapping[str, Any], pictures: Sequence[Picture]) -> str:
    """The report's figures and pictures as one self-contained HTML text."""
    shown = "".join(
        f'<figure><img alt="{escape(each.title)}" src="data:image/png;base64,{base64.b64encode(each.png).decode()}">'
        f"<figcaption>{escape(each.title)}</figcaption></figure>"
        for each in pictures
    )
    return f"<!doctype html><meta charset=utf-8><title>{escape(figures['name'])}</title>{shown}"

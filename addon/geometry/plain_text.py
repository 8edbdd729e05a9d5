"""Small text files that a sculptor writes by hand, taken in: what cannot be read is one line."""

import json
from pathlib import Path
from typing import Any

from .errors import BadFile


def text_of(file: Path, wanted: str) -> str:
    """The text of a file. Raises `BadFile` where it cannot be read, or is none: `wanted` says what should come."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BadFile(f"{file}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadFile(f"{file}: byte {error.start} is no UTF-8 text: {wanted}") from error


def json_of(file: Path, text: str) -> Any:
    """What the text of a JSON file holds. Raises `BadFile` with the line at fault."""
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise BadFile(f"{file}: line {error.lineno}: {error.msg}") from error

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tools"))


@pytest.fixture(scope="session")
def head():
    """The demo head on a coarse grid: its forms are the same, only its finest relief is lost."""
    from demo_head.build import build

    return build(grid_mm=1.1)

"""The body everything is measured on: the demo head, its captures and its hair, kept from one run to the next."""

import dataclasses
import functools
import hashlib
import os
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh

T = TypeVar("T")
KEPT = Path(__file__).resolve().parents[2] / "out" / "benchmark"
"""Where sculpted heads and captures are kept from one run to the next."""


@dataclass(frozen=True)
class Bench:
    """The body everything is measured on: the demo head, sculpted once on a grid of `grid_mm`."""

    grid_mm: float = 0.8

    @functools.cached_property
    def head(self) -> Mesh:
        """The demo head, closed, genus 0: the truth of every capture."""
        return self._sculpted[0]

    @functools.cached_property
    def _sculpted(self) -> tuple[Mesh, Any]:
        """The mesh and what else is known of the head (`demo_head.truth.Truth`)."""
        from demo_head.build import build

        def made() -> tuple[Mesh, Any]:
            head = build(grid_mm=self.grid_mm)
            return head.mesh, head.truth

        return _kept(f"head-{self.grid_mm:g}-{_fingerprint('demo_head')}", made)

    @property
    def truth(self) -> Any:
        """Landmarks, globes and lid margins of the head."""
        return self._sculpted[1]

    def capture(self, points: int, **settings: Any) -> Cloud:
        """A labelled capture as `simulator.capture.simulate` gives it, posed, in millimetres.

        `settings` are those of `simulator.settings.Settings`; the cloud has the columns `label` and `truth_distance`.
        """
        from simulator.capture import simulate
        from simulator.settings import Settings

        chosen = Settings(points=points, **{"seed": 1, **settings})
        number = hashlib.sha256(repr(chosen).encode()).hexdigest()[:10]
        code = _fingerprint("demo_head") + _fingerprint("simulator")
        name = f"capture-{points}-{number}-{self.grid_mm:g}-{code}"
        return _kept(name, lambda: simulate(self.head, chosen, self.truth))

    def hair(self, seed: int, grid_mm: float) -> tuple[Any, Mesh]:
        """The demo head of a seed with a bare scalp, `.mesh` and `.truth`, and its hair as a part of its own."""
        from demo_head.build import build
        from demo_head.wig import hair_part

        def made() -> tuple[Any, Mesh]:
            return build(seed, grid_mm, haired=False), hair_part(seed, grid_mm)

        return _kept(f"hair-{seed}-{grid_mm:g}-{_fingerprint('demo_head')}", made)

    def cloud(self, points: int, noise_mm: float = 0.07, seed: int = 0) -> Cloud:
        """Points spread evenly over the whole head with its normals and colours, moved off it by noise."""
        from canthus.geometry.distances.sampling import spread_over
        from canthus.geometry.measures import area

        even = spread_over(self.head, float(np.sqrt(area(self.head) / points)))
        off = np.random.default_rng(seed).standard_normal((len(even), 1)) * noise_mm
        return dataclasses.replace(even, points=even.points + off * np.asarray(even.normals))


def _kept(name: str, make: Callable[[], T]) -> T:
    """What an earlier run kept under that name, or made now and kept."""
    path = KEPT / f"{name}.pkl"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        made = path.with_suffix(f".{os.getpid()}")
        made.write_bytes(pickle.dumps(make()))
        made.replace(path)  # whole or not at all
    thing: T = pickle.loads(path.read_bytes())
    return thing


def _fingerprint(folder: str) -> str:
    """Changes with the code of a folder of tools."""
    files = sorted((Path(__file__).resolve().parents[1] / folder).glob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:10]

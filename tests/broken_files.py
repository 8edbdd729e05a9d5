"""Files that are wrong in one way each, written down by hand, and words of the one line each of them gets."""

import io
import struct
import tempfile
import zipfile
from pathlib import Path

import numpy as np
from canthus.files.threemf_writing import write_threemf
from canthus.files.writing import write
from canthus.geometry.solids.primitives import icosphere

VERTEX = "property float x\nproperty float y\nproperty float z\n"
FACE = "property list uchar int vertex_indices\n"


def header(
    vertices: object = 3, faces: object = 1, order: str = "ascii", vertex: str = VERTEX, face: str = FACE
) -> str:
    return f"ply\nformat {order} 1.0\nelement vertex {vertices}\n{vertex}element face {faces}\n{face}end_header\n"


POINTS = "0 0 0\n1 0 0\n0 1 0\n"
BINARY_POINTS = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)], "<f4").tobytes()
TRIANGLE = struct.pack("<B3i", 3, 0, 1, 2)
STL_HEADER = b"binary".ljust(80, b"\0")
ASCII_FACET = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"


def written(suffix: str, level: int = 1) -> bytes:
    """A sound file of that format."""
    with tempfile.TemporaryDirectory() as folder:
        write(Path(folder) / f"ball{suffix}", icosphere(level, 12.0))
        return (Path(folder) / f"ball{suffix}").read_bytes()


def binary(body: bytes, **facts: object) -> bytes:
    return header(order="binary_little_endian", **facts).encode() + body  # type: ignore[arg-type]


def package(model: bytes | None, relations: bytes = b"") -> bytes:
    """A 3MF with another model part in it, or none."""
    buffer = io.BytesIO()
    write_threemf(buffer, {"ball": icosphere(0)})
    out = io.BytesIO()
    with zipfile.ZipFile(buffer) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = {"3D/3dmodel.model": model, "_rels/.rels": relations}.get(name, b"")
            if content is not None:
                new.writestr(name, content or old.read(name))
    return out.getvalue()


def model(resources: str, build: str = '<item objectid="1"/>', unit: str = "millimeter", before: str = "") -> bytes:
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    return (
        f'<?xml version="1.0"?>{before}<model unit="{unit}" xmlns="{core}"><resources>{resources}</resources>'
        f"<build>{build}</build></model>"
    ).encode()


CORNERS = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in [(0, 0, 0), (1, 0, 0), (0, 1, 0)])


def one_object(vertices: str = CORNERS, triangles: str = '<triangle v1="0" v2="1" v3="2"/>') -> str:
    mesh = f"<mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh>"
    return f'<object id="1" type="model">{mesh}</object>'


def with_bytes(data: bytes, at: int, new: bytes) -> bytes:
    return data[:at] + new + data[at + len(new) :]


def nan_ridden(share: float) -> bytes:
    points = np.random.default_rng(0).normal(size=(1000, 3)).astype("<f4")
    points[:: int(1 / share)] = np.nan
    return binary(points.tobytes(), vertices=1000, faces=0)


BALL_PLY, BALL_STL = written(".ply"), written(".stl")

CASES: dict[str, tuple[bytes | None, str]] = {
    "empty.ply": (b"", "is empty: 0 bytes"),
    "zeros.stl": (bytes(5000), "holds nothing but 5000 zero bytes"),
    "no-end.ply": (header().replace("end_header\n", "").encode(), "no end_header line"),
    "cut-in-header.ply": (BALL_PLY[:60], "no end_header line"),
    "cut-in-vertices.ply": (BALL_PLY[:400], "is cut short: 42 vertex records end at byte 695, the file at byte 400"),
    "cut-in-faces.ply": (BALL_PLY[:-30], "is cut short"),
    "cut-in-text.ply": ((header() + "0 0 0\n1 0 0\n").encode(), "3 vertex records are declared, lines for 2 of them"),
    "no-format.ply": (header().replace("format ascii 1.0\n", "").encode(), "no format line"),
    "strange-format.ply": (header(order="binary_middle_endian").encode(), "line 2: format 'binary_middle_endian 1.0'"),
    "strange-type.ply": (header(vertex=VERTEX.replace("float x", "quad x")).encode(), "line 4: unknown property type"),
    "strange-word.ply": (header().replace("element face", "elephant face").encode(), "line 7: 'elephant'"),
    "half-property.ply": (header(face="property list uchar int\n").encode(), "line 8: 'property list uchar int'"),
    "twice.ply": (
        header().replace("element face", "element vertex").encode(),
        "line 7: element vertex is declared twice",
    ),
    "twice-x.ply": (
        header(vertex=VERTEX + "property int x\n").encode(),
        "line 7: property x of vertex is declared twice",
    ),
    "early-property.ply": (b"ply\nformat ascii 1.0\nproperty int x\nend_header\n", "line 3: a property stands before"),
    "negative-count.ply": (header(vertices=-3).encode(), "line 3: element vertex has a count of -3"),
    "worded-count.ply": (header(vertices="three").encode(), "line 3: an element needs a name and a count"),
    "huge-count.ply": (binary(BINARY_POINTS + TRIANGLE, vertices=4_000_000_000), "is cut short: 4000000000 vertex"),
    "no-vertex.ply": (
        b"ply\nformat ascii 1.0\nelement face 0\n" + FACE.encode() + b"end_header\n",
        "no vertex element",
    ),
    "no-z.ply": (header(vertex="property float x\nproperty float y\n").encode(), "have no property z"),
    "none.ply": (header(vertices=0, faces=0).encode(), "declares 0 vertices"),
    "negative-list.ply": (
        binary(BINARY_POINTS + struct.pack("<b3i", -3, 0, 1, 2), face=FACE.replace("uchar", "char")),
        "face 0 at byte 204 has a list of -3 entries",
    ),
    "long-list.ply": (binary(BINARY_POINTS + b"\xff" + TRIANGLE), "face 0 at byte 205 runs to byte 1226"),
    "beyond.ply": (
        binary(BINARY_POINTS + struct.pack("<B3i", 3, 0, 1, 3)),
        "face 0 names vertex 3, but vertices run from 0 to 2",
    ),
    "words.ply": ((header() + "0 0 0\n1 zero 0\n0 1 0\n3 0 1 2\n").encode(), "line 11: 'zero' is not a number"),
    "short-row.ply": ((header() + "0 0 0\n1 0\n0 1 0\n3 0 1 2\n").encode(), "line 11 holds 2 numbers where 3 belong"),
    "half-index.ply": (
        (header() + POINTS + "3 0 1 1.5\n").encode(),
        "vertex_indices holds 1.5 where whole numbers belong",
    ),
    "nan.ply": (nan_ridden(0.25), "250 of 1000 points are not numbers, first point 0"),
    "one-nan.ply": (
        (header() + "0 0 0\n1 nan 0\n0 1 0\n3 0 1 2\n").encode(),
        "1 of 3 points are not numbers, first point 1",
    ),
    "infinite.ply": ((header() + "0 0 0\n1 inf 0\n0 1 0\n3 0 1 2\n").encode(), "first point 1 (1, inf, 0)"),
    "far.ply": ((header() + "0 0 0\n1e30 0 0\n0 1 0\n3 0 1 2\n").encode(), "beyond any unit of length"),
    "far-quad.ply": ((header(vertices=4) + POINTS + "1e300 1 0\n4 0 1 3 2\n").encode(), "beyond any unit of length"),
    "flat.ply": ((header() + POINTS + "3 0 1 1\n").encode(), "none of its 1 triangles has an area"),
    "one-place.ply": ((header(faces=0) + "1 1 1\n" * 3).encode(), "nothing but one place"),
    "really-ply.stl": (BALL_PLY, "is named .stl but holds PLY: rename it to really-ply.ply"),
    "really-stl.ply": (BALL_STL, "is named .ply but holds STL"),
    "really-obj.stl": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "is named .stl but holds OBJ"),
    "really-3mf.obj": (written(".3mf"), "is named .obj but holds 3MF"),
    "picture.ply": (b"\x89PNG\r\n\x1a\n" + bytes(100), "is named .ply but holds a PNG picture"),
    "strange.dat": (b"0 0 0\n", "its name ends in .dat: Canthus reads .ply"),
    "junk.ply": (bytes(range(1, 200)), "does not begin with the word ply"),
    "junk.obj": (b"v 0 0 0\n" + bytes(range(128, 200)), "line 2: "),
    "index-0.obj": (
        b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n",
        "line 4: the face names vertex 0, but vertices run from 1 to 3",
    ),
    "beyond.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4\n", "line 4: the face names vertex 4"),
    "before.obj": (b"v 0 0 0\nv 1 0 0\nf -1 -2 -3\nv 0 1 0\n", "line 3: the face names vertex -3"),
    "two-corners.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "line 4: a face of 2 corners"),
    "worded.obj": (b"v 0 0 0\nv 1 one 0\nv 0 1 0\nf 1 2 3\n", "line 2: 'one' is not a number"),
    "bare-v.obj": (b"v 0 0 0\nv\nv 0 1 0\nf 1 2 3\n", "line 2: '?' is not a number"),
    "no-points.obj": (b"# nothing\no thing\n", "no line that begins with v"),
    "short.stl": (BALL_STL[:50], "is cut short: 50 bytes"),
    "cut.stl": (BALL_STL[:-20], "is cut short: byte 80 says 80 triangles, the 4064 bytes hold 79"),
    "long.stl": (BALL_STL + bytes(75), "goes on too long: byte 80 says 80 triangles"),
    "count.stl": (with_bytes(BALL_STL, 80, struct.pack("<I", 4_000_000_000)), "byte 80 says 4000000000 triangles"),
    "zero.stl": (STL_HEADER + bytes(4), "holds no triangles: its count at byte 80 is 0"),
    "nan.stl": (
        with_bytes(BALL_STL, 96, struct.pack("<f", float("nan"))),
        "corners are not numbers, first in triangle 0",
    ),
    "degenerate.stl": (
        STL_HEADER + struct.pack("<I", 1) + struct.pack("<12fH", *[0] * 3, *[1, 2, 3] * 3, 0),
        "one place",
    ),
    "cut-text.stl": (
        f"solid a\n{ASCII_FACET}facet normal 0 0 1\nouter loop\n".encode(),
        "it ends at line 10 without endsolid",
    ),
    "bare.stl": (b"solid a\nendsolid a\n", "no facet between solid and endsolid"),
    "worded.stl": (
        f"solid a\n{ASCII_FACET}endsolid\n".replace("1 0 0", "1 o 0").encode(),
        "line 5: 'o' is not a number",
    ),
    "disordered.stl": (
        f"solid a\n{ASCII_FACET}endsolid\n".replace("outer loop\n", "").encode(),
        "line 3: 'vertex' where 'outer'",
    ),
    "prose.txt": (b"Dear reader,\nthis is not a cloud.\n", "line 1: 'Dear' is not a number"),
    "column.txt": (b"1\n2\n4\n", "line 1 holds 1 numbers: a point needs x, y and z"),
    "ragged.xyz": (b"1 2 3\n4 5 6\n7 8\n", "line 3 holds 2 numbers where 3 belong"),
    "remarks.xyz": (b"# only\n// remarks\n", "not one line of numbers"),
    "junk.xyz": (bytes(range(256)) * 4, "is binary, not text"),
    "nan.xyz": (b"0 0 0\nnan nan nan\n1 1 1\n", "1 of 3 points are not numbers, first point 1 (nan, nan, nan)"),
    "not-zip.3mf": (b"PK\x03\x04" + b"3D/3dmodel" + bytes(50), "its zip archive is damaged"),
    "other-zip.3mf": (None, "is named .3mf but holds a zip archive"),
    "text.3mf": (b"hello\n", "its zip archive is damaged"),
    "no-model.3mf": (package(None), "the 3MF has no part 3d/3dmodel.model"),
    "no-start.3mf": (package(b"", b"<Relationships/>"), "names no model part"),
    "bad-xml.3mf": (package(b"<model>\n<resources></model>"), "is no XML: mismatched tag at line 2"),
    "unit.3mf": (package(model(one_object(), unit="furlong")), "unit 'furlong' is none of micron"),
    "nothing-built.3mf": (package(model(one_object(), build="")), "the 3MF builds nothing"),
    "absent.3mf": (package(model(one_object(), build='<item objectid="9"/>')), "asks for object '9'"),
    "beyond.3mf": (
        package(model(one_object(triangles='<triangle v1="0" v2="1" v3="7"/>'))),
        "triangle 0 names a vertex",
    ),
    "no-x.3mf": (package(model(one_object('<vertex y="0" z="0"/>'))), "vertex has no x"),
    "worded.3mf": (package(model(one_object('<vertex x="one" y="0" z="0"/>'))), "could not convert"),
    "entities.3mf": (
        package(model(one_object(), before='<!DOCTYPE m [<!ENTITY a "aaaa">]>')),
        "declares a document type",
    ),
    "loop.3mf": (
        package(model('<object id="1"><components><component objectid="1"/></components></object>')),
        "nest more than 16 deep",
    ),
}
"""Name of the file to its bytes (None: a zip of something else) and words of the one line."""

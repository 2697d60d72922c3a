"""Binary glTF as its specification has it: chunks, accessors, y up, linear colours, children."""

import json
import struct

import numpy as np
import pytest
from foamwright.core.glb import Part, glb
from hypothesis import given
from hypothesis import strategies as st

TYPES = {5126: "<f4", 5123: "<u2", 5125: "<u4"}
WIDTHS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}


def _read(data):
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    words, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON"
    document = json.loads(data[20 : 20 + words])
    size, kind = struct.unpack_from("<I4s", data, 20 + words)
    assert kind == b"BIN\0"
    assert words % 4 == size % 4 == 0
    assert document["buffers"] == [{"byteLength": size}]
    return document, data[28 + words :]


def _values(document, body, number):
    accessor = document["accessors"][number]
    view = document["bufferViews"][accessor["bufferView"]]
    assert view["byteOffset"] % 4 == 0
    part = body[view["byteOffset"] : view["byteOffset"] + view["byteLength"]]
    values = np.frombuffer(part, TYPES[accessor["componentType"]]).reshape(-1, WIDTHS[accessor["type"]])
    assert len(values) == accessor["count"]
    return values


@given(st.integers(0, 1000), st.integers(1, 20))
def test_what_is_written_reads_back(seed, count):
    random = np.random.default_rng(seed)
    triangles, colours = random.normal(size=(count, 3, 3)), random.random((count, 3))
    document, body = _read(glb([Part("one", triangles, colours, [Part("two", triangles[:1], colours[:1])])]))
    (root,) = document["scenes"][document["scene"]]["nodes"]
    node = document["nodes"][root]
    assert node["name"] == "one"
    assert [document["nodes"][child]["name"] for child in node["children"]] == ["two"]
    primitive = document["meshes"][node["mesh"]]["primitives"][0]
    attributes, index = primitive["attributes"], _values(document, body, primitive["indices"]).ravel()
    position = _values(document, body, attributes["POSITION"])[index]
    x, z, back = position.astype(float).T
    assert np.stack([x, -back, z], axis=1) == pytest.approx(triangles.reshape(-1, 3), abs=1e-6)
    box = document["accessors"][attributes["POSITION"]]
    assert box["min"] == position.min(axis=0).tolist()
    assert box["max"] == position.max(axis=0).tolist()
    normal = _values(document, body, attributes["NORMAL"])[index].astype(float)
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1, abs=1e-6)
    along = position.reshape(-1, 3, 3)
    assert np.abs(np.einsum("mi,mi->m", normal[::3], along[:, 1] - along[:, 0])).max() < 1e-5


def test_colours_are_linear():
    """sRGB 0.5 is 0.2140 in linear light (IEC 61966-2-1: ((0.5 + 0.055) / 1.055)^2.4)."""
    document, body = _read(glb([Part("grey", np.eye(3)[None], np.full((1, 3), 0.5))]))
    colour = _values(document, body, document["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"]) / 65535
    assert colour[:, :3] == pytest.approx(0.2140, abs=1e-4)
    assert (colour[:, 3] == 1).all()


def test_corners_that_are_alike_are_written_once():
    square = np.array([[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]], float)
    document, _ = _read(glb([Part("square", square, np.ones((2, 3)))]))
    assert [accessor["count"] for accessor in document["accessors"]] == [4, 4, 4, 6]

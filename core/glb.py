"""Models as binary glTF 2.0 (Khronos; ISO/IEC 12113:2022): every part a node of flat triangles in colour."""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

FLOAT, UNSIGNED_SHORT, UNSIGNED_INT = 5126, 5123, 5125
VERTICES, INDICES = 34962, 34963
"""Targets of a view."""
VERTEX = np.dtype([("position", "<f4", 3), ("normal", "<f4", 3), ("colour", "<u2", 4)])
ROUGHNESS = 0.9


@dataclass(frozen=True, eq=False)
class Part:
    """Triangles (m, 3, 3) in metres with z up, colours (m, 3) as sRGB from 0 to 1, and parts that go along with it."""

    name: str
    triangles: np.ndarray
    colours: np.ndarray
    children: Sequence[Part] = field(default=())


def glb(parts: Sequence[Part]) -> bytes:
    """The bytes of a file. In it y is up: (x, y, z) is written as (x, z, -y)."""
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "Foamwright"},
        "scene": 0,
        "scenes": [{"nodes": []}],
        "nodes": [],
        "meshes": [],
        "materials": [{"name": "Foam", "pbrMetallicRoughness": {"metallicFactor": 0, "roughnessFactor": ROUGHNESS}}],
        "accessors": [],
        "bufferViews": [],
    }
    body = bytearray()
    document["scenes"][0]["nodes"] = [_add(document, body, part) for part in parts]
    document["buffers"] = [{"byteLength": len(body)}]
    words = json.dumps(document, separators=(",", ":")).encode()
    words += b" " * (-len(words) % 4)
    chunks = struct.pack("<I4s", len(words), b"JSON") + words + struct.pack("<I4s", len(body), b"BIN\0") + body
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def _add(document: dict[str, Any], body: bytearray, part: Part) -> int:
    """The number of the node of a part that has been added with its children."""
    corners = np.stack([part.triangles[..., 0], part.triangles[..., 2], -part.triangles[..., 1]], axis=-1)
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    every = np.empty(3 * len(corners), VERTEX)
    every["position"] = corners.reshape(-1, 3)
    every["normal"] = np.repeat(across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None], 3, axis=0)
    every["colour"] = 65535
    every["colour"][:, :3] = np.repeat(np.rint(65535 * _linear(part.colours)), 3, axis=0)
    # corners that are alike are one vertex
    vertices, index = np.unique(every, return_inverse=True)
    position = np.ascontiguousarray(vertices["position"])
    attributes = {
        "POSITION": _accessor(document, body, position, FLOAT, "VEC3"),
        "NORMAL": _accessor(document, body, vertices["normal"], FLOAT, "VEC3"),
        "COLOR_0": _accessor(document, body, vertices["colour"], UNSIGNED_SHORT, "VEC4"),
    }
    box = document["accessors"][attributes["POSITION"]]
    box["min"], box["max"] = position.min(axis=0).tolist(), position.max(axis=0).tolist()
    indices = _accessor(document, body, index.reshape(-1).astype("<u4"), UNSIGNED_INT, "SCALAR")
    document["meshes"].append(
        {"name": part.name, "primitives": [{"attributes": attributes, "indices": indices, "material": 0}]}
    )
    node: dict[str, Any] = {"name": part.name, "mesh": len(document["meshes"]) - 1}
    children = [_add(document, body, child) for child in part.children]
    if children:
        node["children"] = children
    document["nodes"].append(node)
    return len(document["nodes"]) - 1


def _accessor(document: dict[str, Any], body: bytearray, values: np.ndarray, component: int, kind: str) -> int:
    view = {"buffer": 0, "byteOffset": len(body), "byteLength": values.nbytes}
    view["target"] = INDICES if component == UNSIGNED_INT else VERTICES
    body += values.tobytes()
    document["bufferViews"].append(view)
    accessor: dict[str, Any] = {
        "bufferView": len(document["bufferViews"]) - 1,
        "componentType": component,
        "count": len(values),
        "type": kind,
    }
    if component == UNSIGNED_SHORT:
        accessor["normalized"] = True
    document["accessors"].append(accessor)
    return len(document["accessors"]) - 1


def _linear(srgb: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, section 5.2."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)

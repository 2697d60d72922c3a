"""pattern.json: nothing is lost, the schema holds, and a broken file is told apart by where it is broken."""

import json
from copy import deepcopy
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import foamwright.core
import jsonschema
import numpy as np
import pytest
from foamwright.core import json_writing
from foamwright.core.errors import ExportError, FormatError
from foamwright.core.pattern_json import from_dict, read_json, to_dict, write_json, writing_text
from foamwright.core.progress import finish
from foamwright.core.tight_bends import TightBend
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from sample_pattern import sample_pattern

SCHEMA = json.loads((Path(foamwright.core.__file__).parent / "pattern.schema.json").read_text(encoding="utf-8"))
CHECK = jsonschema.Draft202012Validator(SCHEMA)


def _assert_same(one, other, path="pattern"):
    """Equal in type and to the last bit, all the way down."""
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, path
        assert np.array_equal(one, other), path
    elif is_dataclass(one):
        assert type(one) is type(other), path
        for field in fields(one):
            _assert_same(getattr(one, field.name), getattr(other, field.name), f"{path}.{field.name}")
    elif isinstance(one, tuple):
        assert isinstance(other, tuple), path
        assert len(one) == len(other), path
        for index, (a, b) in enumerate(zip(one, other, strict=True)):
            _assert_same(a, b, f"{path}[{index}]")
    else:
        assert one == other, path


def test_comparison_sees_one_changed_bit():
    pattern = sample_pattern()
    flat = pattern.pieces[0].flat.copy()
    flat[0, 0] = np.nextafter(flat[0, 0], 1)
    changed = replace(pattern, pieces=(replace(pattern.pieces[0], flat=flat), *pattern.pieces[1:]))
    with pytest.raises(AssertionError, match="flat"):
        _assert_same(pattern, changed)


def test_written_and_read_back_nothing_is_lost(tmp_path):
    pattern = sample_pattern('käfer 甲虫 "quoted"')
    path = write_json(pattern, tmp_path / "pattern.json")
    _assert_same(pattern, read_json(path))
    again = write_json(read_json(path), tmp_path / "again.json")
    assert path.read_bytes() == again.read_bytes()


@pytest.mark.parametrize("most", [2, 10_000])
def test_text_in_parts_is_the_text_of_the_whole(monkeypatch, most):
    monkeypatch.setattr(json_writing, "MOST_ROWS", most)
    pattern = sample_pattern('käfer 甲虫 "quoted"')
    steps = writing_text(pattern)
    assert sum(1 for _ in steps) > len(pattern.pieces)
    text = finish(writing_text(pattern))
    assert text == json.dumps(to_dict(pattern))
    _assert_same(pattern, from_dict(json.loads(text)))


parts = st.floats(-1, 1)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-9, 9)
        | st.text(max_size=3)
        | arrays(float, (3, 2), elements=st.floats(-1, 1)),
        lambda part: st.lists(part, max_size=4) | st.dictionaries(st.text(max_size=2), part, max_size=3),
        max_leaves=25,
    )
)
def test_any_document_is_written_alike_in_parts_and_whole(document):
    encode = json.JSONEncoder()
    assert "".join(json_writing.texts(document, encode)) == encode.encode(json_writing.plain(document))


def test_tight_bends_with_their_kerfs_survive():
    pattern = sample_pattern()
    slot = np.array([(0, 0), (2, 0), (2, 40), (0, 40), (0, 0)], float)
    row = ("back plate", np.arange(6), np.arange(4), 85.5, 62.25, 12.5)
    bend = TightBend(*row, "kerfs", 7, 8.9, 7.5, 4.0, 2.0, 0.0, 0.5, (slot[1:3],), (slot,))
    pattern = replace(pattern, pieces=(*pattern.pieces[:5], replace(pattern.pieces[5], bends=(bend,))))
    document = json.loads(json.dumps(to_dict(pattern)))
    CHECK.validate(document)
    _assert_same(pattern, from_dict(document))


@given(arrays(float, (4, 2), elements=st.floats(allow_nan=False, allow_infinity=False)))
def test_any_finite_number_survives(flat):
    pattern = sample_pattern()
    cheek = replace(pattern.pieces[1], flat=flat)
    pattern = replace(pattern, pieces=(pattern.pieces[0], cheek, *pattern.pieces[2:]))
    read = from_dict(json.loads(json.dumps(to_dict(pattern))))
    assert np.array_equal(read.pieces[1].flat, flat)


def test_numpy_numbers_in_a_finding_are_written(tmp_path):
    pattern = sample_pattern()
    odd = replace(pattern.findings[0], faces=tuple(np.arange(3)))
    path = write_json(pattern.with_findings((odd,)), tmp_path / "pattern.json")
    assert read_json(path).findings[0].faces == (0, 1, 2)


def test_document_fits_the_schema_and_holds_what_readers_look_for():
    document = json.loads(json.dumps(to_dict(sample_pattern())))
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    CHECK.validate(document)
    assert len(document["shell"]["piece_of_face"]) == len(document["shell"]["faces"])
    band = document["pieces"][0]
    assert band["stock"]["thickness_mm"] == 5.0
    assert band["outside_outline"][0][0] == band["outside_outline"][0][-1]
    assert band["flat"]["shell_vertex"] == list(range(12))
    assert [fold["kind"] for fold in band["folds"]] == ["groove", "score", "groove", "groove"]
    joint = document["joints"][0]
    assert (joint["piece_a"], joint["piece_b"]) == ("brow band", "cheek plate left")
    assert joint["bevel_a_deg"] + joint["bevel_b_deg"] == pytest.approx(joint["bend_deg"])
    assert joint["length_a_mm"] == pytest.approx(joint["length_b_mm"])
    back = document["pieces"][5]
    assert back["largest_squeeze"] < 1 < back["largest_stretch"]


def _set(document, path, value):
    *way, last = path
    for key in way:
        document = document[key]
    if value is KeyError:
        del document[last]
    else:
        document[last] = value


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("version",), 2),
        (("shell", "vertices", 0), [1.0, 2.0]),
        (("pieces", 0, "flat", "triangles", 0, 1), 1.5),
        (("pieces", 0, "stock", "thickness_mm"), 0),
        (("joints", 0, "rule"), "glue"),
        (("pieces", 0, "colour"), "red"),
        (("sheets", 0, "fill"), KeyError),
        (("findings", 0, "severity"), "bad"),
    ],
)
def test_schema_refuses_a_broken_document(path, value):
    document = json.loads(json.dumps(to_dict(sample_pattern())))
    _set(document, path, value)
    assert not CHECK.is_valid(document)


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("format",), "drawing", r"'format' should be"),
        (("version",), 99, r"version 99.*update Foamwright"),
        (("shell", "vertices", 0), [1.0, 2.0], r"'shell.vertices' has rows of different length"),
        (("shell", "vertices", 0, 0), float("nan"), r"'shell.vertices' holds a value that is not a finite number"),
        (("shell", "vertices", 0, 0), "x", r"'shell.vertices' should hold numbers"),
        (("shell", "faces", 3), [0, 1, 999], r"'shell.faces\[3\]' names an element outside 0 to"),
        (("shell", "faces", 3), [0, 0, 1], r"'shell' does not hold together.*face 3"),
        (("shell", "seams", 0), [0, 9], r"'shell' does not hold together.*not an edge"),
        (("shell", "piece_of_face"), [0], r"'shell.piece_of_face' should have one entry for each of"),
        (("pieces",), {}, r"'pieces' should be a list"),
        (("pieces", 1, "name"), "brow band", r"'pieces' has two pieces of one name"),
        (("pieces", 2, "flat", "vertices"), [[0, 0]], r"'pieces\[2\].flat.vertices' should have one position"),
        (("pieces", 2, "flat", "triangle_stretch"), [[1, 1]], r"triangle_stretch' should have one entry for each of 2"),
        (("pieces", 2, "flat", "loop_edges"), [], r"loop_edges' should have one edge for each"),
        (("pieces", 2, "flat"), KeyError, r"'pieces\[2\]' has no 'flat'"),
        (("pieces", 2, "flat"), 3, r"'pieces\[2\].flat' should be an object"),
        (("pieces", 2, "stock", "thickness_mm"), 0, r"'pieces\[2\].stock' does not hold together.*thickness"),
        (("pieces", 2, "stock", "skin_mm"), True, r"skin_mm' should be a number"),
        (("pieces", 2, "outside_outline", 0, 0), [7, 7], r"outside_outline\[0\]' should be a closed ring"),
        (("pieces", 2, "group"), None, r"'pieces\[2\].group' should be text"),
        (("pieces", 0, "folds", 0, "path", 0), 1.5, r"folds\[0\].path' should hold whole numbers"),
        (("pieces", 0, "notches", 0, "point"), [1], r"point' should be two numbers"),
        (("joints", 1, "piece_b"), "visor", r"'joints\[1\].piece_b' names a piece that does not exist, 'visor'"),
        (("joints", 1, "loop_a"), 4, r"loop_a' names a rim that 'brow band' does not have"),
        (("sheets", 0, "number"), 1.5, r"'sheets\[0\].number' should be a whole number"),
        (("sheets", 0, "number"), 10**400, r"'sheets\[0\].number' is too large"),
        (("sheets", 0, "placements", 0, "piece"), "visor", r"does not exist, 'visor'"),
        (("sheets", 0, "placements", 0, "x"), 10**400, r"placements\[0\].x' should be a number"),
        (("shell", "vertices", 0, 0), 10**400, r"'shell.vertices' should hold numbers"),
        (("shell", "faces", 3), [0, 1, 2**63], r"'shell.faces\[3\]' should hold whole numbers"),
        (("shell", "name"), "half \ud800", r"'shell.name' holds half a sign"),
        (("findings", 0, "faces"), [-1], r"'findings\[0\].faces' names an element outside 0 to"),
        (("findings", 0, "edges"), [2**64 - 1], r"'findings\[0\].edges' should hold whole numbers"),
    ],
)
def test_reading_says_where_a_document_is_broken(path, value, told):
    document = json.loads(json.dumps(to_dict(sample_pattern())))
    from_dict(deepcopy(document))
    _set(document, path, value)
    with pytest.raises(FormatError, match=told):
        from_dict(document)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"{", "not JSON"),
        (b"\xff\xfe\x00", "not a text"),
        (b"[]", "object"),
        (b"[" * 100_000, "not JSON"),
        (b'{"format":"foamwright pattern","version":' + b"9" * 5000 + b"}", "not JSON"),
        (b'{"format":"foamwright pattern","version":' + b"9" * 400 + b"}", "version' is too large"),
        (b'{"format":"foamwright pattern","version":2,"shell":"later"}', "version 2.*update Foamwright"),
    ],
    ids=range(7),
)
def test_a_file_that_is_no_pattern_is_refused(tmp_path, content, told):
    path = tmp_path / "pattern.json"
    path.write_bytes(content)
    with pytest.raises(FormatError, match=told):
        read_json(path)


def test_missing_file_and_missing_folder_name_the_place(tmp_path):
    with pytest.raises(ExportError, match=r"nowhere.json' cannot be read"):
        read_json(tmp_path / "nowhere.json")
    with pytest.raises(ExportError, match=rf"{tmp_path.name}/none'.*Choose a folder"):
        write_json(sample_pattern(), tmp_path / "none" / "pattern.json")

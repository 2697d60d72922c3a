"""Notches that meet their twins, and words that stay on the piece and off each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import solids
from foamwright.core import lettering
from foamwright.core.call_outs import bevel_ends, bevel_range, build_words, fold_words, joint_words
from foamwright.core.folds import find_folds
from foamwright.core.joints import JointSide, both_outlines, rim_runs
from foamwright.core.lettering import along_line, note_boxes
from foamwright.core.marks import (
    write_notes,
)
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given
from hypothesis import strategies as st
from planar_pieces import faceted, pattern_of
from shapely import Polygon

MESHES = {
    "box": solids.box(240, 160, 100),
    "dodecahedron": solids.dodecahedron(90),
    "prism": solids.prism(5, 90, 200),
    "small": solids.box(40, 24, 16),
}


def test_along_line_measures_by_length():
    line = np.array([(0, 0), (10, 0), (10, 0), (10, 30)], float)
    points, directions = along_line(line, np.array([0.0, 0.125, 0.5, 1.0]))
    np.testing.assert_allclose(points, [(0, 0), (5, 0), (10, 10), (10, 30)])
    np.testing.assert_allclose(directions, [(1, 0), (1, 0), (0, 1), (0, 1)])


@pytest.mark.parametrize("rule", ["mitre", "butt", "one-sided"])
@pytest.mark.parametrize("mesh", MESHES.values(), ids=MESHES)
def test_every_piece_says_its_name_and_all_its_joints(mesh, rule):
    pattern = pattern_of(faceted(mesh, 4.0, joint_rule=rule))
    for number, piece in enumerate(pattern.pieces, start=1):
        names = [note for note in piece.notes if note.role == "name"]
        assert [note.lines for note in names] == [(f"{number} {piece.name}",)]
        letters = sorted(note.lines[0].split()[0] for note in piece.notes if note.role == "joint")
        wanted = [j.letter for j in pattern.joints for side in (j.a, j.b) if side.piece == piece.name]
        assert letters == sorted(wanted)
        assert all(2.0 <= note.height_mm <= 10.0 for note in piece.notes)


def _crumpled(noise: float) -> Shell:
    """A scan of a dome so rough that most of its edges are folds."""
    points, faces = solids.sphere_cap(110.0, 1.9, 9)
    away = 1 + np.random.default_rng(3).normal(0, noise, (len(points), 1))
    return Shell.build(points * away, faces)


def test_words_on_a_crumpled_piece_are_held_against_few_others(monkeypatch):
    """However many words there are, each looks at what is near; with all its wordings at all its spots it met 2,900."""
    met = []

    class CountingTree(shapely.STRtree):
        def query(self, *what, **how):
            found = super().query(*what, **how)
            met.append(found.shape[1])
            return found

    monkeypatch.setattr(lettering, "STRtree", CountingTree)
    (piece,) = finish(unfold(_crumpled(0.05), Settings(nest_seconds=1))).pieces
    assert len(piece.notes) > 150
    assert 0 < sum(met) < 1500 * len(piece.notes)


@given(st.integers(0, 10_000))
def test_a_leader_in_the_shadow_of_words_meets_them(seed):
    random = np.random.default_rng(seed)
    words = lettering._Obstacles()
    for owner, (centre, angle) in enumerate(
        zip(random.uniform(-30, 30, (12, 2)), random.uniform(0, 3, 12), strict=True)
    ):
        words.add(owner, list(note_boxes(("AB",), centre[None], np.array([angle]), 3.0)))
    leaders = shapely.linestrings(np.stack([random.uniform(-60, 60, (40, 2)), np.zeros((40, 2))], axis=1))
    assert not (words.clear(leaders, 3) & ~words.unshadowed(leaders, 3)).any()


@pytest.mark.parametrize("name", ["box", "dodecahedron", "prism"])
def test_words_lie_on_the_piece_and_off_each_other_where_there_is_room(name):
    pattern = pattern_of(faceted(MESHES[name], 4.0, joint_rule="mitre"))
    for piece in pattern.pieces:
        face = Polygon(piece.outside_outline[0])
        boxes = [note.box for note in piece.notes]
        marks = [
            shapely.LineString([notch.point, np.array(notch.point) + 4 * np.array(notch.inward)])
            for notch in piece.notches
        ]
        assert {note.role for note in piece.notes} == {"name", "joint", "build"}
        for i, box in enumerate(boxes):
            assert face.contains(box)
            assert not any(box.intersects(other) for other in (*boxes[:i], *marks))
        heights = [note.height_mm for note in piece.notes]
        assert heights[0] == max(heights)


@pytest.mark.parametrize("size", [(40, 24, 16), (30, 18, 12)])
def test_what_has_no_room_on_the_piece_stands_beside_it_with_a_leader(size):
    pattern = pattern_of(faceted(solids.box(*size), 5.0, joint_rule="mitre"))
    led = [(piece, note) for piece in pattern.pieces for note in piece.notes if note.tip]
    assert led
    for piece in pattern.pieces:
        joints = [note for note in piece.notes if note.role == "joint"]
        assert all("mitre 45" in " ".join(note.lines) for note in joints)
        assert sum("5 mm" in " ".join(note.lines) for note in piece.notes) == 1
        face = Polygon(piece.outside_outline[0])
        for i, note in enumerate(piece.notes):
            assert face.contains(note.box) or not face.intersects(note.box)
            assert not any(note.box.intersects(other.box) for other in piece.notes[:i])
    for piece, note in led:
        assert note.leader.intersects(note.box)
        if note.role == "joint":
            assert shapely.LinearRing(piece.outside_outline[0]).distance(shapely.Point(note.tip)) < 1e-6
        others = [other for other in piece.notes if other is not note]
        assert not any(note.leader.intersects(other.box) for other in others)


def test_next_to_no_bevel_leaves_room_for_words_around_the_piece():
    """A bend of nothing comes out as some 1e-14 degrees, by which GEOS shrinks a face to nothing."""
    cut = faceted(solids.box(12, 8, 6), 0.7)
    hair = [replace(joint, a=_bevelled(joint.a, -1e-14), b=_bevelled(joint.b, -1e-14)) for joint in cut.joints]
    piece, flat = cut.pieces[0], cut.flats[0]
    outside, _ = cut.outlines(0)
    notes = finish(write_notes(piece, 1, flat, outside, hair, ()))
    assert sum(note.role == "joint" for note in notes) == 4


def test_joint_words_lie_along_their_edge():
    cut = faceted(MESHES["prism"], 4.0)
    pattern = pattern_of(cut)
    for piece in pattern.pieces:
        for note in (note for note in piece.notes if note.role == "joint"):
            joint = next(j for j in pattern.joints if j.letter == note.lines[0].split()[0])
            side = joint.a if joint.a.piece == piece.name else joint.b
            line = shapely.LineString(piece.flat[side.path])
            start, end = piece.flat[side.path[[0, -1]]]
            along = (end - start) / np.linalg.norm(end - start)
            assert abs(np.cos(note.angle) * along[1] - np.sin(note.angle) * along[0]) < 1e-9
            others = [
                shapely.LineString(piece.flat[s.path])
                for j in pattern.joints
                for s in (j.a, j.b)
                if s.piece == piece.name
            ]
            anchor = shapely.Point(note.anchor)
            assert line.distance(anchor) == pytest.approx(min(other.distance(anchor) for other in others))


def _bevelled(side: JointSide, *bevels: float) -> JointSide:
    return replace(side, bevel_deg=float(np.mean(bevels)), bevels_deg=np.array(bevels))


def test_a_bevel_that_changes_is_told_with_its_ends():
    (joint, *_) = faceted(solids.cube(100), joint_rule="mitre").joints
    assert bevel_range(_bevelled(joint.a, 20.0, 24.0)) == "22"
    assert bevel_range(_bevelled(joint.a, 20.0, 26.0)) == "20 to 26"
    changing = _bevelled(joint.a, 8.0, 10.0, 15.0, 20.0, 24.0)
    assert bevel_ends(changing, {"J1": 9.0, "J2": 15.0, "J3": 23.0}) == "9 at J1, 23 at J3"
    assert bevel_ends(changing, {"J1": 9.0, "J2": 23.0, "J3": 11.0}) == "9 at J1, 23 at J2, 11 at J3"
    assert bevel_ends(changing, {"J1": 15.0}) == "8 to 24"
    assert bevel_ends(_bevelled(joint.a, 20.0, 24.0), {"J1": 20.0, "J2": 24.0}) == "22"
    assert bevel_ends(_bevelled(joint.a, -9.0, -23.0), {"J1": -9.0, "J2": -23.0}) == "9 at J1, 23 at J2"


def test_what_rims_say():
    vertices, faces = solids.flat_sheet(160, 100)
    shell = Shell.build(vertices, faces)
    (piece,), _ = cut_pieces(shell, Settings())
    flat = vertices[piece.patch.shell_vertex][:, :2]
    outside, _ = both_outlines(piece, flat, ())
    for style, words in (("square", None), ("rounded", "round both corners 2 mm"), ("bevelled", "bevel 30")):
        rims = rim_runs(shell, [piece], [flat], Settings(rim_style=style))
        notes = [n for n in finish(write_notes(piece, 1, flat, outside, (), (), (), rims)) if n.role == "rim"]
        assert [note.lines[0] for note in notes] == ([f"A  open rim  {words}"] if words else [])


def test_what_joints_say():
    (joint, *_) = faceted(solids.cube(100), joint_rule="mitre").joints
    other = joint.b.piece
    assert joint_words(joint, joint.a)[0] == (f"A  to {other}  mitre 45",)
    valley = replace(joint, a=_bevelled(joint.a, -20.0))
    assert joint_words(valley, valley.a)[1] == (f"A  to {other}", "mitre 20, inside longer")
    butt = replace(joint, rule="butt")
    assert joint_words(butt, butt.b)[0] == (f"A  to {joint.a.piece}  square",)
    one_sided = replace(joint, rule="one-sided", a=_bevelled(joint.a, 25.0), b=_bevelled(joint.b, 0.0))
    assert "bevel 25" in joint_words(one_sided, one_sided.a)[0][0]
    assert joint_words(one_sided, one_sided.b)[0][0].endswith("square, other side bevelled")
    level = replace(joint, a=_bevelled(joint.a, -0.4), b=_bevelled(joint.b, -0.4))
    assert joint_words(level, level.a)[0] == (f"A  to {other}  square",), "a mitre where pieces meet flat"
    dart = replace(joint, b=replace(joint.b, piece=joint.a.piece))
    assert "closes on itself" in joint_words(dart, dart.a)[0][0]
    assert joint_words(joint, joint.a)[-1] == ("A", "mitre 45")
    assert joint_words(one_sided, one_sided.b)[-1] == ("A", "square")


def _folded_sheet(bend_deg: float):
    bend = np.radians(bend_deg)
    x, z = [0, 90, 90 + 90 * np.cos(bend)], [0, 0, -90 * np.sin(bend)]
    points = np.stack([np.tile(x, (2, 1)), [[0] * 3, [120] * 3], np.tile(z, (2, 1))], axis=-1)
    shell, settings = Shell.build(*solids.grid(points.astype(float))), Settings()
    (piece,), _ = cut_pieces(shell, settings)
    around = shell.vertices[piece.patch.shell_vertex]
    flat = np.stack([np.where(np.abs(around[:, 0]) < 91, around[:, 0], 0), around[:, 1]], axis=1)
    far = around[:, 0] > 91
    flat[far, 0] = 180.0
    return piece, flat, find_folds(shell, piece, settings)


def test_what_folds_say_and_where():
    for bend, words in (
        (60.0, "V-groove, inside face, 4 mm deep, 4.6 mm wide, outside becomes a ridge"),
        (-60.0, "score, inside face, 2.5 mm deep, fill, outside becomes a valley, opens 2.9 mm"),
    ):
        piece, flat, folds = _folded_sheet(bend)
        outside, _ = both_outlines(piece, flat, ())
        notes = finish(write_notes(piece, 1, flat, outside, (), folds))
        (note,) = [note for note in notes if note.role == "fold"]
        assert ", ".join(note.lines) == f"f1  {words}"
        line = shapely.LineString(flat[folds[0].path])
        assert 0.5 < line.distance(note.box) < 8
        assert note.angle % np.pi == pytest.approx(np.pi / 2)
        assert fold_words(folds[0], 3)[-1] == ("f3",)


def test_build_words_name_mate_group_stock_and_face():
    (piece, *_) = faceted(solids.box()).pieces
    paired = replace(piece, mate="cheek R", group="head")
    assert build_words(paired)[0] == ("EVA 10 mm", "outside face up", "mirrors cheek R", "group head")
    assert build_words(replace(piece, mate=None, group="head"))[1] == ("EVA 10 mm, outside face up, group head",)
    # the group goes first, the stock never
    assert build_words(paired)[2:] == [
        ("EVA 10 mm", "outside face up", "mirrors cheek R"),
        ("EVA 10 mm", "outside face up"),
        ("EVA 10 mm",),
        ("10 mm",),
    ]
    own = replace(piece.stock, name="floor mat")
    assert build_words(replace(piece, stock=own))[0][0] == "floor mat, 10 mm"


def test_the_same_piece_gets_the_same_words():
    one, other = (pattern_of(faceted(MESHES["dodecahedron"])) for _ in range(2))
    assert [piece.notes for piece in one.pieces] == [piece.notes for piece in other.pieces]

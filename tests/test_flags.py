"""Findings on finished patterns: every flag is made to appear, on the right faces, and is silent otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import solids
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.feather import thinnest_edges
from foamwright.core.foam import Stock, eva
from foamwright.core.joints import both_outlines
from foamwright.core.patch import cut_patch
from foamwright.core.pattern import Pattern, PatternPiece
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.sheets.tables import fold_rows
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from planar_pieces import faceted, pattern_of
from shapely import Polygon


def _flags(pattern: Pattern, settings: Settings) -> dict[str, list]:
    found: dict[str, list] = {}
    for finding in examine_pattern(pattern, settings):
        found.setdefault(finding.kind, []).append(finding)
    return found


def _flags_of(mesh, thickness: float, **choices) -> tuple[Pattern, dict[str, list]]:
    cut = faceted(mesh, thickness, **choices)
    pattern = pattern_of(cut)
    return pattern, _flags(pattern, cut.settings)


def _faces_of(pattern: Pattern, name: str) -> set[int]:
    return set(pattern.piece(name).faces.tolist())


# --- the knife ---------------------------------------------------------------------------------


def test_square_cut_pieces_that_meet_have_no_flags():
    _, found = _flags_of(solids.truncated_icosahedron(60), 1.0, joint_rule="butt")
    assert found == {}


def test_undercuts_are_gathered_in_one_note():
    pattern, found = _flags_of(solids.dodecahedron(), 5.0, joint_rule="mitre")
    assert list(found) == ["undercut"]
    (finding,) = found["undercut"]
    assert finding.severity == "note"
    assert finding.edges == tuple(range(pattern.shell.edge_count))
    assert finding.faces == tuple(range(12))
    assert "30 bevelled runs (A, B," in finding.message


def test_a_bevel_too_slight_to_hold_needs_no_undercut():
    """A joint that winds about flat is cut square, as its templates say, however it is locked."""
    cut = faceted(solids.cube(), 5.0, joint_rule="mitre")
    pattern = pattern_of(cut)
    first, *rest = pattern.joints
    a, b = (
        replace(side, bevel_deg=0.2, bevels_deg=np.array([-1.6, 2.0]), steps=np.repeat(side.steps, 2))
        for side in first.sides
    )
    slight = replace(pattern, joints=(replace(first, edges=np.repeat(first.edges, 2), a=a, b=b), *rest))
    (before,), (after,) = (_flags(one, cut.settings)["undercut"] for one in (pattern, slight))
    assert f"{len(rest) + 1} bevelled runs (A, " in before.message
    assert f"{len(rest)} bevelled runs (B, " in after.message


def test_a_valley_needs_no_undercut():
    """Where the inside face is the larger one the blade leans out."""
    vertices, faces = solids.flat_sheet(100, 60, 2, 1)
    raised = np.where(np.isclose(vertices[:, :1], 50), [[0, 0, -20.0]], 0) + vertices
    shell = Shell.build(raised, faces, seams=[(1, 4)])
    pattern = finish(unfold(shell, Settings(joint_rule="mitre", nest_seconds=1)))
    assert all(joint.bend_deg < -30 for joint in pattern.joints)
    assert "undercut" not in {finding.kind for finding in pattern.findings}


@pytest.mark.parametrize(("limit", "heavy"), [(54.0, True), (55.0, False)])
def test_heavy_bevels_name_their_piece_and_joints(limit, heavy):
    """A tetrahedron's mitres are 54.74 degrees (table of mitres)."""
    pattern, found = _flags_of(solids.tetrahedron(200), 5.0, joint_rule="mitre", heavy_bevel_deg=limit)
    assert ("heavy-bevel" in found) == heavy
    for finding in found.get("heavy-bevel", []):
        assert "up to 54.7°" in finding.message
        assert set(finding.faces) == _faces_of(pattern, finding.piece)
        assert len(finding.edges) == 3
    assert len(found.get("heavy-bevel", [])) == (4 if heavy else 0)


def test_a_sharp_bevel_runs_out_to_a_feather():
    """2 mm in from its tip an edge of bevel b is 2 / tan b thick: 1.41 mm for a tetrahedron's mitre."""
    for limit, feather in ((1.40, False), (1.43, True)):
        _, found = _flags_of(solids.tetrahedron(200), 5.0, joint_rule="mitre", feather_mm=limit)
        assert ("feather-edge" in found) == feather
        if feather:
            assert "runs out to 1.4 mm" in found["feather-edge"][0].message


def test_bevels_of_a_narrow_strip_meet_within_the_foam():
    """A box 8 mm wide, mitred at 45 degrees all round, is 4 mm thick where the bevels of its lid meet."""
    cut = faceted(solids.box(200, 150, 8), 10.0, joint_rule="mitre", feather_mm=3.9)
    pattern = pattern_of(cut)
    narrow = [n for n, piece in enumerate(cut.pieces) if min(np.ptp(cut.flats[n], axis=0)) < 9]
    assert len(narrow) == 4
    for number in narrow:
        piece = cut.pieces[number]
        sizes = np.concatenate([size for _, size in thinnest_edges(piece, cut.flats[number], cut.joints)])
        # the long edges: half of 8 mm over tan 45; the others see their far edge 150 or 200 mm away
        assert sorted(sizes) == pytest.approx([2, 2, 2, 2])  # the tip decides: 2 mm / tan 45
    assert set(_flags(pattern, replace(cut.settings, feather_mm=1.9))) == {"undercut", "narrow-piece"}
    flagged = _flags(pattern, replace(cut.settings, feather_mm=2.1))["feather-edge"]
    assert len(flagged) == 6


def test_thickness_where_two_bevels_meet_is_width_over_their_slopes():
    shell = Shell.build(*solids.prism(4, 3.0, 200.0))
    shell = shell.with_seams(np.ones(shell.edge_count, bool))
    cut = faceted((shell.vertices, [face.tolist() for face in shell.faces]), 10.0, joint_rule="one-sided")
    width = 3.0 * 2**0.5
    for piece, flat in zip(cut.pieces, cut.flats, strict=True):
        for run, sizes in thinnest_edges(piece, flat, cut.joints):
            side = run.a if run.a.piece == piece.name else run.b
            if side.bevel_deg > 1 and side.length_mm > 100:
                across = [s.bevel_deg for j in cut.joints for s in j.sides
                          if s.piece == piece.name and s.length_mm > 100 and j is not run]  # fmt: skip
                slopes = np.tan(np.radians(side.bevel_deg)) + np.tan(np.radians(across[0]))
                tip = 2.0 / np.tan(np.radians(side.bevel_deg))
                assert sizes == pytest.approx([min(width / slopes, tip, 10.0)])


@pytest.mark.parametrize(("limit", "flagged"), [(1.0, True), (20.0, False)])
def test_butt_joints_that_do_not_meet_are_flagged_on_both_sides(limit, flagged):
    """2 t tan(b / 2) with a dodecahedron's bend of 63.435 degrees: 6.18 mm for 5 mm foam."""
    pattern, found = _flags_of(solids.dodecahedron(), 5.0, joint_rule="butt", butt_mismatch_mm=limit)
    assert len(found.get("butt-mismatch", [])) == (30 if flagged else 0)
    for finding in found.get("butt-mismatch", []):
        assert "overlap by 6.2 mm" in finding.message
        assert finding.faces == tuple(sorted(pattern.shell.edge_faces[finding.edges[0]].tolist()))


def test_bevels_that_leave_nothing_of_the_inside():
    _, found = _flags_of(solids.cube(15.0), 10.0, joint_rule="mitre")
    assert len(found["narrow-piece"]) == 6
    assert "leave nothing" in found["narrow-piece"][0].message


# --- the foam ----------------------------------------------------------------------------------


def _strained(*stretch: float) -> tuple[Pattern, PatternPiece]:
    """A dodecahedron whose first piece has the given stretch on its triangles."""
    pattern = pattern_of(faceted(solids.dodecahedron(), 5.0, joint_rule="butt"))
    piece = pattern.pieces[0]
    values = np.ones((len(piece.patch.triangles), 2))
    for triangle, value in enumerate(stretch):
        values[triangle] = value
    strained = replace(piece, stretch=values)
    return replace(pattern, joints=(), pieces=(strained, *pattern.pieces[1:])), strained


@pytest.mark.parametrize(
    ("stretch", "kind", "severity"),
    [
        (1.04, None, None),
        (1.07, "cold-strain", "note"),
        (0.93, "cold-strain", "note"),
        (1.12, "hot-strain", "warn"),
        (0.88, "hot-strain", "warn"),
    ],
)
def test_strain_over_the_limits_of_the_stock(stretch, kind, severity):
    pattern, piece = _strained(stretch, stretch, stretch)
    findings = examine_pattern(pattern, Settings())
    if kind is None:
        assert findings == ()
        return
    (finding,) = findings
    assert (finding.kind, finding.severity, finding.piece) == (kind, severity, piece.name)
    assert f"at most {100 * abs(stretch - 1):.1f} % on 99 % of its area" in finding.message
    assert "100 % of it is over the" in finding.message
    assert set(finding.faces) == set(piece.faces.tolist())


def test_each_strained_face_is_flagged_by_its_own_strain():
    """A piece of three faces: one cold, one warm, one too far even when heated."""
    shell = Shell.build(*solids.flat_sheet(90, 30, 3, 1))
    pattern = finish(unfold(shell, Settings(nest_seconds=1)))
    (piece,) = pattern.pieces
    stretch = np.array([1.0, 1.07, 1.2])[piece.patch.triangle_face]
    strained = replace(piece, stretch=np.stack([stretch, stretch], axis=1))
    found = _flags(replace(pattern, pieces=(strained,)), Settings())
    assert found["hot-strain"][0].faces == (2,)
    assert found["cold-strain"][0].faces == (1,)
    assert "33 % of it is over the 10 % that EVA 5 mm takes heated" in found["hot-strain"][0].message
    assert "67 % of it is over the 5 % that EVA 5 mm takes cold" in found["cold-strain"][0].message


def test_a_small_spot_over_the_heated_limit_is_a_note():
    pattern, piece = _strained(1.3)
    flat = piece.flat.copy()
    # shrink the strained triangle to a sliver of the piece
    lonely = next(v for v in piece.patch.triangles[0] if (piece.patch.triangles == v).sum() == 1)
    others = [v for v in piece.patch.triangles[0] if v != lonely]
    flat[lonely] += 0.99 * (flat[others].mean(axis=0) - flat[lonely])
    spotted = replace(piece, flat=flat)
    (finding,) = examine_pattern(replace(pattern, pieces=(spotted, *pattern.pieces[1:])), Settings())
    assert (finding.kind, finding.severity) == ("hot-strain", "note")
    assert "at most 0.0 % on 99 % of its area, 30.0 % at the worst spot; under 1 % of it is over" in finding.message


def _panel(bends_deg: list[float], wide: float = 30.0) -> Shell:
    heading = -np.radians(np.concatenate([[0.0], np.cumsum(bends_deg)]))
    x = np.concatenate([[0.0], np.cumsum(wide * np.cos(heading))])
    z = np.concatenate([[0.0], np.cumsum(wide * np.sin(heading))])
    rows = [np.stack([x, np.full_like(x, y), z], axis=1) for y in (0.0, 80.0)]
    return Shell.build(*solids.grid(np.stack(rows)))


def test_a_groove_without_a_skin_cuts_through():
    for skin, through in ((0.0, True), (1.0, False)):
        settings = Settings(stock=Stock("foam", 5.0, skin_mm=skin), nest_seconds=1)
        pattern = finish(unfold(_panel([60.0]), settings))
        found = _flags(pattern, settings)
        assert ("deep-groove" in found) == through
        if through:
            assert found["deep-groove"][0].faces == (0, 1)


def test_grooves_that_run_into_each_other_are_flagged():
    for wide, crowded in ((30.0, False), (4.0, True)):
        settings = Settings(stock=eva(8.0), nest_seconds=1)
        found = _flags(finish(unfold(_panel([60.0, 60.0], wide), settings)), settings)
        assert ("crowded-grooves" in found) == crowded


@pytest.mark.parametrize(("treatment", "severity"), [("heat-form", "warn"), ("kerfs", "note")])
def test_tight_bends_are_flagged_on_their_faces(treatment, severity):
    settings = Settings(stock=eva(10.0), tight_bends=treatment, nest_seconds=1)
    shell = _panel([*[9.0] * 10], wide=4.0)
    pattern = finish(unfold(shell, settings))
    (finding,) = _flags(pattern, settings)["tight-bend"]
    assert finding.severity == severity
    assert "stands 30 mm" in finding.message
    assert set(finding.faces) == set(range(11))
    assert "kerfs" in finding.mend
    assert ("Cut" in finding.mend) == (treatment == "kerfs")
    # the lists say it even where the piece has no room for words
    (row,) = fold_rows(pattern)
    assert ("relief kerfs" in row[2]) == (treatment == "kerfs")


# --- the flat ----------------------------------------------------------------------------------


def test_piece_that_lies_over_itself_names_a_cut():
    """A ribbon that winds round by more than a full turn, on a flat as it is."""
    turn = np.linspace(0, 2.2 * np.pi, 30)
    rows = [np.stack([r * np.cos(turn), r * np.sin(turn), np.zeros(30)], axis=1) for r in (60.0, 40.0)]
    shell = Shell.build(*solids.grid(np.stack(rows)))
    patch = cut_patch(shell, np.arange(shell.face_count))
    flat = shell.vertices[patch.shell_vertex][:, :2]
    piece = PatternPiece(
        name="ribbon",
        mate=None,
        group="main",
        stock=eva(5.0),
        faces=np.arange(shell.face_count),
        patch=patch,
        flat=flat,
        stretch=np.ones((len(patch.triangles), 2)),
        rim_reference=patch.step_lengths(flat),
        outside_outline=(flat[np.append(patch.loops[0], patch.loops[0][0])],),
        inside_outline=(flat[np.append(patch.loops[0], patch.loops[0][0])],),
        folds=(),
        notches=(),
        notes=(),
    )
    found = _flags(Pattern(shell, np.zeros(29, int), (piece,), (), (), ()), Settings())
    assert found["overlap"][0].piece == "ribbon"
    # the cut goes straight across the ribbon: one edge between the two rows
    (edge,) = found["overlap"][0].edges
    assert abs(int(np.diff(shell.edges[edge])[0])) == 30


def test_a_bevelled_rim_leans_in():
    vertices, faces = solids.flat_sheet(100, 60)
    settings = Settings(rim_style="bevelled", rim_bevel_deg=45.0, nest_seconds=1)
    pattern = finish(unfold(Shell.build(vertices, faces), settings))
    (piece,) = pattern.pieces
    _, (inside,) = both_outlines(piece, piece.flat, pattern.rims)
    assert Polygon(inside).area == pytest.approx(90 * 50)
    assert np.array_equal(inside, piece.inside_outline[0])
    (finding,) = _flags(pattern, settings)["undercut"]
    assert finding.edges == tuple(np.flatnonzero(pattern.shell.edge_is_rim).tolist())

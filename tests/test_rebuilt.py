"""The solid check: pieces put back together from their outlines meet as the joints say they do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import solids
from beetle_sentry import ACTORS, helmet
from foamwright.core.foam import eva
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from rebuilt import Cut, cut, groove_gaps, sections, solid_of, with_rule
from scipy.spatial import ConvexHull, HalfspaceIntersection

SOLIDS = {
    "box": solids.box(200, 150, 100),
    "cube": solids.cube(120),
    "square pyramid": solids.pyramid(4, 160.0, 180.0),
    "hexagonal pyramid": solids.pyramid(6, 120.0, 90.0),
    "triangular prism": solids.prism(3, 120, 140),
    "octagonal prism": solids.prism(8, 110, 140),
    "dodecahedron": solids.dodecahedron(80),
    "truncated icosahedron": solids.truncated_icosahedron(50),
    "icosahedron": solids.icosahedron(90),
    "cuboctahedron": solids.cuboctahedron(80),
    "icosidodecahedron": solids.icosidodecahedron(60),
    "pyramid on a rectangle": solids.rectangular_pyramid(),
}
every_solid = pytest.mark.parametrize("mesh", SOLIDS.values(), ids=SOLIDS)


def _faces_apart(mesh, thickness: float, rule: str) -> Cut:
    bare = Shell.build(*mesh)
    shell = bare.with_seams(np.ones(bare.edge_count, bool))
    return cut(shell, Settings(stock=eva(thickness), joint_rule=rule))


def _hollow(mesh, thickness: float) -> np.ndarray:
    """Corners of what is left inside a convex solid when each face moves in by the thickness."""
    vertices, faces = mesh
    middle = vertices.mean(axis=0)
    planes = []
    for face in faces:
        a, b, c = vertices[face[:3]]
        normal = np.cross(b - a, c - a)
        normal /= np.linalg.norm(normal)
        planes.append([*normal, thickness - normal @ a])
    return HalfspaceIntersection(np.array(planes), middle).intersections


@every_solid
def test_mitred_solids_close_inside_and_out(mesh):
    """Inside faces end in the corners of the hollow; solids fill the wall between it and the outside, no more."""
    thickness = 6.0
    built = _faces_apart(mesh, thickness, "mitre")
    hollow = _hollow(mesh, thickness)
    filled = 0.0
    for number in range(len(built.pieces)):
        outside, inside = solid_of(built, number)
        apart = np.linalg.norm(inside[:, None] - hollow[None], axis=2).min(axis=1)
        assert apart.max() < 0.05
        outer = np.linalg.norm(outside[:, None] - mesh[0][None], axis=2).min(axis=1)
        assert outer.max() < 0.05
        filled += ConvexHull(np.vstack([outside, inside])).volume
    wall = ConvexHull(mesh[0]).volume - ConvexHull(hollow).volume
    assert filled == pytest.approx(wall, rel=1e-5)


@every_solid
def test_mitred_faces_of_neighbours_coincide(mesh):
    built = _faces_apart(mesh, 6.0, "mitre")
    found = sections(built)
    assert len(found) == len(built.joints)
    for section in found:
        assert section.face_distance < 0.05
        assert abs(section.inside_mismatch) < 0.05


TABLE = [
    # solid, its bevels and what they take of the inside face in 10 and in 5 mm foam (table of mitres)
    (solids.tetrahedron, {54.7356: (14.1421, 7.0711)}),
    (solids.cube, {45.0: (10.0, 5.0)}),
    (solids.octahedron, {35.2644: (7.0711, 3.5355)}),
    (solids.dodecahedron, {31.7175: (6.1803, 3.0902)}),
    (solids.icosahedron, {20.9052: (3.8197, 1.9098)}),
    (solids.cuboctahedron, {27.3678: (5.1764, 2.5882)}),
    (solids.truncated_octahedron, {35.2644: (7.0711, 3.5355), 27.3678: (5.1764, 2.5882)}),
    (solids.rhombicuboctahedron, {22.5: (4.1421, 2.0711), 17.6322: (3.1784, 1.5892)}),
    (solids.icosidodecahedron, {18.6887: (3.3826, 1.6913)}),
    (solids.truncated_icosahedron, {20.9052: (3.8197, 1.9098), 18.6887: (3.3826, 1.6913)}),
]


@pytest.mark.parametrize(("solid", "table"), TABLE, ids=[solid.__name__ for solid, _ in TABLE])
def test_mitre_table_through_the_whole_way(solid, table):
    for column, thickness in enumerate((10.0, 5.0)):
        built = _faces_apart(solid(100.0), thickness, "mitre")
        setback = {section.edge: section.a[3][0] for section in sections(built)}
        seen = set()
        for joint in built.joints:
            bevel = min(table, key=lambda known: abs(known - joint.a.bevel_deg))
            seen.add(bevel)
            assert joint.a.bevel_deg == pytest.approx(bevel, abs=1e-3)
            assert setback[int(joint.edges[0])] == pytest.approx(table[bevel][column], abs=1e-3)
        assert seen == set(table)


@pytest.mark.parametrize("name", ["dodecahedron", "octagonal prism"])
def test_one_sided_faces_lie_in_one_plane(name):
    """The square face ends where the foam ends, the bevelled one where its neighbour's does not: one line."""
    built = _faces_apart(SOLIDS[name], 6.0, "one-sided")
    for section in sections(built):
        one, other = (side[3] - side[0] for side in (section.a, section.b))
        assert abs(one[0] * other[1] - one[1] * other[0]) < 0.05 * min(np.linalg.norm(one), np.linalg.norm(other))
        # past the square face the bevelled one runs on
        assert max(np.linalg.norm(one), np.linalg.norm(other)) > 6.0


@every_solid
def test_butt_joints_are_squeezed_as_predicted(mesh):
    built = _faces_apart(mesh, 6.0, "butt")
    predicted = {int(joint.edges[0]): joint.mismatch_mm for joint in built.joints}
    for section in sections(built):
        assert section.inside_mismatch == pytest.approx(predicted[section.edge], abs=0.05)
        # past a right angle an inside face runs through its neighbour and out again
        if section.bend_deg <= 90.01:
            assert section.overlap_mm == pytest.approx(predicted[section.edge], abs=0.05)


def test_butt_joints_in_valleys_gape_as_predicted():
    """An L of 60 mm legs, extruded: one upright edge is a valley of 90 degrees."""
    ground = np.array([(0, 0), (90, 0), (90, 45), (45, 45), (45, 90), (0, 90)], float)
    low, high = (np.column_stack([ground, np.full(6, z)]) for z in (0.0, 80.0))
    sides = [[i, (i + 1) % 6, 6 + (i + 1) % 6, 6 + i] for i in range(6)]
    mesh = np.vstack([low, high]), [list(range(6))[::-1], list(range(6, 12)), *sides]
    for rule in ("butt", "mitre"):
        built = _faces_apart(mesh, 5.0, rule)
        predicted = {int(joint.edges[0]): joint.mismatch_mm for joint in built.joints}
        found = {section.edge: section for section in sections(built)}
        assert sum(mismatch < 0 for mismatch in predicted.values()) == (rule == "butt")
        for edge, section in found.items():
            assert section.inside_mismatch == pytest.approx(predicted[edge], abs=0.05)
            if rule == "mitre":
                assert section.face_distance < 0.05


# --- the demo helmet ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo() -> tuple[Cut, Settings]:
    made = helmet(ACTORS[0])
    shell = Shell.build(made.vertices, made.faces, made.seams, made.folds)
    choices = {name: PieceChoice(eva(stock)) for name, stock in made.stock_mm.items()}
    settings = Settings(stock=eva(5.0), pieces=choices, joint_rule="mitre")
    return cut(shell, settings, made.face_names), settings


def test_mitres_of_the_helmet_coincide(demo):
    built, _ = demo
    found = sections(built)
    assert len(found) == (built.shell.seam & (built.shell.edge_face_count == 2)).sum()
    assert max(section.face_distance for section in found) < 0.05
    assert max(abs(section.inside_mismatch) for section in found) < 0.05


def test_butt_joints_of_the_helmet_are_squeezed_as_predicted(demo):
    known, settings = demo
    built = with_rule(known, replace(settings, joint_rule="butt"))
    length = built.shell.edge_length
    found = {section.edge: section for section in sections(built)}
    for joint in built.joints:
        measured = [found[edge].inside_mismatch for edge in joint.edges.tolist()]
        assert np.average(measured, weights=length[joint.edges]) == pytest.approx(joint.mismatch_mm, abs=0.05)


def test_grooves_of_the_helmet_close(demo):
    """Both faces of every groove, turned about its root by the bend of its edge, come to lie on each other."""
    built, _ = demo
    checked = 0
    for number, folds in enumerate(built.folds):
        for fold in folds:
            if fold.kind == "groove":
                off = groove_gaps(built, number, fold)
                checked += len(off)
                assert np.abs(off).max() < 0.05
    assert checked > 20

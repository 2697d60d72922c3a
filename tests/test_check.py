"""Findings on meshes: every one is made to appear once, and a sound mesh has none."""

import numpy as np
import pytest
import solids
from foamwright.core.check import SEVERITIES, Finding, examine, refuse
from foamwright.core.crossing import crossing_triangles
from foamwright.core.errors import MeshError
from foamwright.core.progress import finish
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st

SOUND = [*solids.PLATONIC, *solids.ARCHIMEDEAN, solids.gridded_box, solids.sphere, solids.torus, solids.bumpy]


def _found(mesh, kind):
    finding = [f for f in examine(Shell.build(*mesh, name="brow")) if f.kind == kind]
    assert len(finding) == 1
    assert "brow" in finding[0].message
    assert finding[0].mend.endswith(".")
    return finding[0]


def _kinds(mesh):
    return [finding.kind for finding in examine(Shell.build(*mesh))]


# --- the mesh --------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", SOUND)
def test_sound_closed_meshes_have_no_findings(make):
    assert _kinds(make()) == []


@pytest.mark.parametrize("make", [solids.flat_sheet, solids.tube, solids.saddle, solids.sphere_cap])
def test_sound_open_meshes_have_rims_to_note_only(make):
    assert _kinds(make()) == ["open-rim"]


@pytest.mark.parametrize(("edge", "words"), [(0.3, "metres"), (5000.0, "Scale it down")])
def test_size(edge, words):
    finding = _found(solids.cube(edge), "size")
    assert finding.severity == "stop"
    assert words in finding.mend
    assert f"{edge:.3g} mm" in finding.message


def test_non_manifold_edge():
    vertices, faces = solids.cube()
    extra = np.vstack([vertices, vertices[faces[0][0]] * 2, vertices[faces[0][1]] * 2])
    finding = _found((extra, [*faces, [*faces[0][:2], 9, 8]]), "non-manifold")
    assert finding.severity == "stop"
    shell = Shell.build(extra, [*faces, [*faces[0][:2], 9, 8]])
    assert [set(shell.edges[e]) for e in finding.edges] == [set(faces[0][:2])]


BOW_TIE = [(0, 0), (100, 100), (100, 0), (0, 100)]
LOPSIDED = [(0, 0), (100, 100), (100, 0), (0, 40)]
PENTAGRAM = [(100 * np.cos(0.8 * np.pi * i), 100 * np.sin(0.8 * np.pi * i)) for i in range(5)]
COIL = [
    (r * np.cos(a), r * np.sin(a))
    for r, a in zip([50] * 40 + [40] * 40, [*np.linspace(0, 8, 40), *np.linspace(8, 0, 40)], strict=True)
]


@pytest.mark.parametrize("ring", [BOW_TIE, LOPSIDED, PENTAGRAM, COIL], ids=["bow-tie", "lopsided", "pentagram", "coil"])
def test_a_face_whose_sides_cross_is_refused_by_its_number(ring):
    corners = len(ring)
    square = [(200, 0), (300, 0), (300, 100), (200, 100)]
    points = np.column_stack([np.array([*square, *ring], float), np.zeros(corners + 4)])
    mesh = points, [range(4), range(4, corners + 4)]
    finding = _found(mesh, "crossed-face")
    assert (finding.severity, finding.faces) == ("stop", (1,))
    with pytest.raises(MeshError, match=r"1 face \(1\) cross"):
        refuse(examine(Shell.build(*mesh)))


@given(st.integers(0, 10_000), st.floats(0, 0.3))
def test_bent_quads_are_not_taken_for_crossed_ones(seed, noise):
    vertices, faces = solids.flat_sheet()
    size = np.ptp(vertices, axis=0).max() / np.sqrt(len(faces))
    bent = vertices + noise * size * np.random.default_rng(seed).uniform(-1, 1, vertices.shape)
    assert "crossed-face" not in _kinds((bent, faces))


@given(st.sets(st.integers(0, 31), min_size=1, max_size=10))
def test_flipped_faces_are_the_ones_that_were_flipped(flipped):
    vertices, faces = solids.truncated_icosahedron()
    area = Shell.build(vertices, faces).face_area
    turned = [face[::-1] if i in flipped else face for i, face in enumerate(faces)]
    finding = _found((vertices, turned), "flipped")
    assert finding.severity == "stop"
    assert area[list(flipped)].sum() < area.sum() / 2
    assert set(finding.faces) == flipped


def test_one_sided_strip():
    """A Moebius strip cannot be given an outside."""
    n = 24
    a = 2 * np.pi * np.arange(n) / n
    out = np.stack([np.cos(a), np.sin(a), 0 * a], axis=1)
    across = np.cos(a / 2)[:, None] * out + np.sin(a / 2)[:, None] * (0, 0, 1)
    vertices = np.concatenate([100 * out - 20 * across, 100 * out + 20 * across])
    faces = [[i, i + 1, n + i + 1, n + i] for i in range(n - 1)] + [[n - 1, n, 0, 2 * n - 1]]
    finding = _found((vertices, faces), "flipped")
    assert "only one side" in finding.mend
    assert finding.faces


def test_faces_without_area():
    vertices, faces = solids.triangulated(solids.gridded_box())
    squashed = vertices.copy()
    squashed[faces[5][0]] = (squashed[faces[5][1]] + squashed[faces[5][2]]) / 2
    finding = _found((squashed, faces), "zero-area")
    assert finding.severity == "stop"
    assert 5 in finding.faces


def test_doubled_vertices():
    vertices, faces = solids.frustum_patch(n_around=12, n_up=2)
    finding = _found((vertices, faces), "doubled-vertex")
    assert finding.severity == "warn"
    assert finding.vertices == (0, 12, 13, 25, 26, 38)


def test_inside_out_part():
    vertices, faces = solids.sphere()
    inner = vertices * 0.5, [face[::-1] for face in faces]
    finding = _found(solids.together((vertices, faces), inner), "inside-out")
    assert finding.severity == "warn"
    assert finding.faces == tuple(range(len(faces), 2 * len(faces)))
    assert "inside-out" not in _kinds((vertices[:, [1, 2, 0]], faces))


def test_loose_vertices_and_parts():
    vertices, faces = solids.together(solids.sphere(), solids.moved(solids.box(10, 10, 10), (200, 0, 0)))
    mesh = np.vstack([vertices, (0, 0, 90)]), faces
    assert _found(mesh, "loose-vertex").vertices == (len(vertices),)
    part = _found(mesh, "loose-part")
    assert part.severity == "note"
    assert len(part.faces) == 6
    assert "2 parts" in part.message


def test_open_rims_are_counted_and_measured():
    finding = _found(solids.tube(50, 80, 16, 4), "open-rim")
    assert "2 open rims" in finding.message
    assert f"{2 * 16 * 2 * 50 * np.sin(np.pi / 16):.0f} mm" in finding.message
    assert len(finding.edges) == 32


def test_worst_comes_first_and_stops():
    vertices, faces = solids.flat_sheet()
    findings = examine(Shell.build(vertices / 1000, faces))
    ranks = [SEVERITIES.index(finding.severity) for finding in findings]
    assert ranks == sorted(ranks)
    with pytest.raises(MeshError, match="metres"):
        refuse(findings)


def test_refusal_carries_the_elements():
    with pytest.raises(MeshError, match=r"Bad\. Mend it\.") as caught:
        refuse([Finding("a", "note", "Fine.", ""), Finding("b", "stop", "Bad.", "Mend it.", edges=(3,), faces=(4, 5))])
    assert (caught.value.edges, caught.value.faces) == ((3,), (4, 5))
    refuse([Finding("a", "note", "Fine.", ""), Finding("b", "warn", "Hm.", "")])


# --- crossings -------------------------------------------------------------------------------------


def test_parts_that_enter_each_other_are_found():
    post = solids.moved(solids.box(20, 20, 200), (3, 2, 0))
    finding = _found(solids.together(solids.gridded_box(), post), "self-crossing")
    assert finding.severity == "warn"
    crossed = set(finding.faces)
    assert crossed >= {216 + i for i in range(6) if abs(Shell.build(*post).face_normal[i, 2]) < 0.5}
    assert all(abs(Shell.build(*solids.gridded_box()).face_centre[f, 2]) > 49 for f in crossed if f < 216)


def test_mirrored_parts_that_enter_each_other_are_found():
    """On the mirror plane every edge meets its own image, so no side passes inside a triangle."""
    ball, image = solids.icosphere(50, 2), solids.moved(solids.icosphere(50, 2), (50, 0, 0))
    finding = _found(solids.together(ball, image), "self-crossing")
    x = Shell.build(*solids.together(ball, image)).face_centre[list(finding.faces), 0]
    assert len(finding.faces) > 30
    assert np.abs(x - 25).max() < 15


def test_parts_that_touch_do_not_cross():
    for gap in (0.0, 1.0):
        resting = solids.moved(solids.box(40, 40, 20), (0, 0, 60 + gap))
        assert "self-crossing" not in _kinds(solids.together(solids.gridded_box(), resting))


def _crossing_by_all_pairs(vertices, triangles):
    """Every pair, each side solved as a linear system."""
    found = set()
    for i in range(len(triangles)):
        for j in range(len(triangles)):
            if i == j or set(triangles[i]) & set(triangles[j]):
                continue
            a, b, c = vertices[triangles[j]]
            for k in range(3):
                p, q = vertices[triangles[i, k]], vertices[triangles[i, (k + 1) % 3]]
                system = np.stack([b - a, c - a, p - q], axis=1)
                if abs(np.linalg.det(system)) > 1e-9:
                    u, v, t = np.linalg.solve(system, p - a)
                    if u >= 0 and v >= 0 and u + v <= 1 and 0 <= t <= 1:
                        found.add((min(i, j), max(i, j)))
    return found


@given(st.integers(0, 10_000), st.floats(1, 20))
def test_crossings_agree_with_a_search_of_all_pairs(seed, spread):
    random = np.random.default_rng(seed)
    size = random.choice([1.0, spread], 14)
    centres = random.uniform(-10, 10, (14, 1, 3))
    vertices = (centres + size[:, None, None] * random.normal(size=(14, 3, 3))).reshape(-1, 3)
    triangles = np.arange(42).reshape(14, 3)
    found = {(int(i), int(j)) for i, j in finish(crossing_triangles(vertices, triangles))}
    assert found == _crossing_by_all_pairs(vertices, triangles)

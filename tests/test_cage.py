import numpy as np
import pytest
import solids
from foamwright.core.cage import cage, leading, whole_edges
from foamwright.core.errors import MeshError
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.seams import complete_seams
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell


def finer(points, faces):
    """Each face in as many quads as it has corners; the shell, and per edge of it the edge it is made from."""
    coarse = Shell.build(points, faces)
    middle = len(points) + np.arange(coarse.edge_count)
    centre = middle[-1] + 1 + np.arange(coarse.face_count)
    vertices = np.vstack([coarse.vertices, coarse.vertices[coarse.edges].mean(axis=1), coarse.face_centre])
    before = np.empty(len(coarse.corner_vertex), int)
    before[coarse.corner_next] = coarse.corner_edge
    quads = np.stack(
        [coarse.corner_vertex, middle[coarse.corner_edge], centre[coarse.corner_face], middle[before]], axis=1
    )
    fine = Shell.build(vertices, quads)
    origin = np.full(fine.edge_count, -1)
    for end in coarse.edges.T:
        origin[fine.edge_between(np.stack([end, middle], axis=1))] = np.arange(coarse.edge_count)
    return coarse, fine, origin


def test_half_an_edge_takes_the_other_half_along():
    _, fine, origin = finer(*solids.box(3, 2, 1))
    chosen = np.zeros(fine.edge_count, bool)
    chosen[np.flatnonzero(origin == 4)[0]] = True
    whole = whole_edges(origin, chosen)
    assert np.flatnonzero(whole).tolist() == np.flatnonzero(origin == 4).tolist()
    assert whole.sum() == 2


def test_an_edge_that_stands_for_itself_stays_alone():
    origin = np.array([-1, 0, 0, -1])
    assert whole_edges(origin, np.array([True, False, False, False])).tolist() == [True, False, False, False]


def test_faces_are_joined_to_those_they_were_made_from():
    coarse, fine, origin = finer(*solids.box(3, 2, 1))
    joined = cage(fine, origin >= 0)
    assert joined.face_count == coarse.face_count
    assert joined.edge_count == 2 * coarse.edge_count
    assert joined.face_area.sum() == pytest.approx(coarse.face_area.sum())


def test_missing_cuts_of_a_cage_lie_on_its_edges_and_suffice():
    _, fine, origin = finer(*solids.box(3, 2, 1))
    joined = cage(fine, origin >= 0)
    completed = finish(complete_seams(joined))
    seam = np.zeros(fine.edge_count, bool)
    seam[fine.edge_between(joined.edges[completed.seam])] = True
    assert (origin[seam] >= 0).all()
    pieces, _ = cut_pieces(fine.with_seams(seam), Settings())  # raises where a piece is still closed
    assert len(pieces) == len(cut_pieces(completed, Settings())[0])


def test_faces_that_no_edge_can_part_are_refused():
    _, fine, _ = finer(*solids.box(3, 2, 1))
    with pytest.raises(MeshError, match="apply the modifiers"):
        cage(fine, np.zeros(fine.edge_count, bool))


def test_of_the_faces_made_from_one_the_largest_value_leads():
    origin, value = np.array([0, 0, 2, -1, 0]), np.array([0.1, 0.4, 0.2, 9.0, 0.3])
    assert leading(origin, value, 4).tolist() == [1, -1, 2, -1]

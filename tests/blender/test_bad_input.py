"""Bad input: a message that names the thing and the way out, and a scene as it was."""

import bpy
import pytest
from shapes import BOX, BOX_SEAMS

TETRAHEDRON = ([(0, 0, 0), (90, 0, 0), (0, 90, 0), (0, 0, 90)], [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
FIN = ([(0, 0, 0), (0, 100, 0), (80, 0, 0), (80, 100, 0), (-80, 0, 0), (-80, 100, 0), (0, 0, 80), (0, 100, 80)],
       [[0, 2, 3, 1], [0, 1, 5, 4], [0, 1, 7, 6]])  # fmt: skip
RING = (
    [(x, y, z) for z in (0, 80) for x, y in ((0, 0), (90, 0), (90, 90), (0, 90))],
    [[i, (i + 1) % 4, (i + 1) % 4 + 4, i + 4] for i in range(4)],
)


@pytest.fixture
def refused(everything):
    """Run an operator that must refuse: its message is returned, and nothing may have changed."""

    def refused(operator, **words):
        before = everything()
        with pytest.raises(RuntimeError) as refusal:
            getattr(bpy.ops.foamwright, operator)(**words)
        assert everything() == before
        message = str(refusal.value)
        assert "Traceback" not in message
        return message

    return refused


@pytest.mark.parametrize("operator", ["check", "flatten", "find_pieces", "mark_seams", "complete_seams"])
def test_an_empty_mesh(make, refused, operator):
    make([], [], name="nothing")
    message = refused(operator)
    assert "'nothing' has no faces" in message
    assert "choose an object" in message


@pytest.mark.parametrize("operator", ["check", "flatten", "find_pieces"])
def test_positions_that_are_no_numbers(make, refused, operator):
    obj = make(*BOX, name="broken")
    obj.data.vertices[3].co.z = float("nan")
    message = refused(operator)
    assert "'broken': vertex 3" in message
    assert "delete" in message


def test_edges_with_three_faces(make, refused, module):
    obj = make(*FIN, name="fin")
    message = refused("flatten")
    assert "'fin'" in message
    assert "edge" in message
    trouble = module("addon.trouble").of(obj)
    assert trouble.place.edges


@pytest.mark.parametrize("operator", ["flatten", "find_pieces"])
@pytest.mark.parametrize(("solid", "kind"), [(BOX, "closed"), (RING, "tube")])
def test_a_missing_cut_is_named_selected_and_opens_the_piece(make, refused, operator, solid, kind):
    obj = make(*solid, name="shut")
    message = refused(operator)
    assert kind in message
    assert "mark a seam" in message
    bpy.ops.foamwright.select_place()
    assert obj.mode == "EDIT"
    assert tuple(bpy.context.tool_settings.mesh_select_mode) == (False, True, False)
    bpy.ops.mesh.mark_seam()
    bpy.ops.object.mode_set(mode="OBJECT")
    assert 0 < sum(edge.select for edge in obj.data.edges) < len(obj.data.edges) / 2
    getattr(bpy.ops.foamwright, operator)()
    assert len(obj.foamwright.pieces) == 1


def test_foam_without_thickness(box, refused):
    box()
    bpy.context.scene.foamwright.thickness_mm = 0
    message = refused("flatten")
    assert "thickness 0 mm" in message
    assert "between 0 and 100 mm" in message


def test_limits_that_do_not_grow(box, refused):
    box()
    bpy.context.scene.foamwright.butt_limit = 2.0
    assert "Joint limits must grow" in refused("flatten")


def test_a_shell_modelled_in_metres_is_found(make):
    obj = make([[1000 * x for x in vertex] for vertex in BOX[0]], BOX[1], seams=BOX_SEAMS, name="hall")
    bpy.ops.foamwright.check()
    findings = obj.foamwright.findings
    assert any("mm" in finding.message and finding.severity != "note" for finding in findings)
    assert all(finding.mend for finding in findings)


def test_a_piece_larger_than_its_sheet(make, refused):
    make([(0, 0, 0), (3000, 0, 0), (3000, 3000, 0), (0, 3000, 0)], [[0, 1, 2, 3]], name="roof")
    message = refused("flatten")
    assert "sheet" in message


def test_one_triangle_is_small_but_can_be_cut(make):
    obj = make([(0, 0, 0), (90, 0, 0), (0, 90, 0)], [[0, 1, 2]], name="one")
    bpy.ops.foamwright.check()
    bpy.ops.foamwright.flatten()
    assert len(obj.foamwright.pieces) == 1


def test_a_triangle_without_area(make, refused):
    make([(0, 0, 0), (90, 0, 0), (180, 0, 0)], [[0, 1, 2]], name="sliver")
    message = refused("flatten")
    assert "'sliver'" in message


def test_nothing_is_left_of_a_failure_once_a_job_went_through(make, module):
    obj = make(*TETRAHEDRON, name="tetra")
    with pytest.raises(RuntimeError):
        bpy.ops.foamwright.flatten()
    assert module("addon.trouble").of(obj) is not None
    bpy.ops.foamwright.complete_seams()
    bpy.ops.foamwright.flatten()
    assert module("addon.trouble").of(obj) is None


def test_a_check_tells_the_place_of_each_finding(make):
    obj = make(*FIN, name="fin")
    bpy.ops.foamwright.check()
    index = next(i for i, finding in enumerate(obj.foamwright.findings) if finding.severity == "stop")
    bpy.ops.foamwright.select_place(index=index)
    bpy.ops.object.mode_set(mode="OBJECT")
    chosen = {frozenset(edge.vertices) for edge in obj.data.edges if edge.select}
    assert chosen == {frozenset((0, 1))}


def test_a_place_that_an_edit_removed_is_not_selected(make):
    obj = make(*FIN, name="fin")
    bpy.ops.foamwright.check()
    index = next(i for i, finding in enumerate(obj.foamwright.findings) if finding.severity == "stop")
    obj.data.clear_geometry()
    with pytest.raises(RuntimeError, match="check it again"):
        bpy.ops.foamwright.select_place(index=index)


def test_a_good_shell_has_nothing_to_mend(panels):
    obj = panels()
    bpy.ops.foamwright.check()
    assert obj.foamwright.checked
    assert not [finding for finding in obj.foamwright.findings if finding.severity == "stop"]

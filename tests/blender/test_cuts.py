import bpy
import pytest
from shapes import BOX


def seams(obj):
    return {tuple(sorted(edge.vertices)) for edge in obj.data.edges if edge.use_seam}


def test_every_bend_of_a_box_becomes_a_seam(make):
    obj = make(*BOX)
    bpy.ops.foamwright.mark_seams(source="SHARP")
    assert len(seams(obj)) == 12


def test_bends_under_the_limit_are_left(panels):
    obj = panels()
    bpy.context.scene.foamwright.fold_limit = 0.8
    bpy.ops.foamwright.mark_seams(source="SHARP")
    assert not seams(obj)
    obj.data.edges[0].use_seam = True
    bpy.ops.foamwright.mark_seams(source="ALL")
    assert len(seams(obj)) == 1


def test_missing_cuts_are_added_until_it_can_be_laid_flat(make):
    obj = make(*BOX)
    with pytest.raises(RuntimeError, match="mark a seam"):
        bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.complete_seams()
    assert seams(obj)
    bpy.ops.foamwright.flatten()
    assert obj.foamwright.pieces


def test_the_makers_seams_stay(make):
    obj = make(*BOX, seams=[(0, 1)])
    bpy.ops.foamwright.complete_seams()
    assert (0, 1) in seams(obj)


def test_one_undo_takes_the_cuts_back(make):
    make(*BOX)
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.foamwright.complete_seams("EXEC_DEFAULT", True)
    assert seams(bpy.data.objects["shell"])
    bpy.ops.ed.undo()
    assert not seams(bpy.data.objects["shell"])

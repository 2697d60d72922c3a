"""Shells whose modifiers stay on: what becomes of results, names, locks, seams, colours, plans and sizes."""

import math

import bpy
import numpy as np
import pytest


def with_modifier(obj, kind, **words):
    modifier = obj.modifiers.new(kind.title(), kind)
    for name, value in words.items():
        setattr(modifier, name, value)
    return modifier


def finer(obj):
    modifier = with_modifier(obj, "SUBSURF", levels=1)
    return lambda: setattr(modifier, "levels", 2)


def tapered(obj):
    modifier = with_modifier(obj, "SIMPLE_DEFORM", deform_method="TAPER", factor=0.1)
    return lambda: setattr(modifier, "factor", 0.3)


def keyed(obj):
    obj.shape_key_add(name="Basis")
    key = obj.shape_key_add(name="Wide")
    for point in key.data:
        point.co.x *= 1.3
    key.value = 1.0
    return lambda: setattr(key, "value", 0.5)


def posed(obj):
    armature = bpy.data.armatures.new("Skeleton")
    skeleton = bpy.data.objects.new("Skeleton", armature)
    bpy.context.collection.objects.link(skeleton)
    bpy.context.view_layer.objects.active = skeleton
    bpy.ops.object.mode_set(mode="EDIT")
    bone = armature.edit_bones.new("Spine")
    bone.tail = (0, 0, 0.1)
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.context.view_layer.objects.active = obj
    obj.vertex_groups.new(name="Spine").add(range(len(obj.data.vertices)), 1.0, "REPLACE")
    with_modifier(obj, "ARMATURE", object=skeleton)
    return lambda: setattr(skeleton.pose.bones["Spine"], "scale", (1.0, 1.2, 1.0))


def wrapped(obj):
    bpy.ops.mesh.primitive_uv_sphere_add(radius=0.3)
    target = bpy.context.object
    bpy.context.view_layer.objects.active = obj
    with_modifier(obj, "SHRINKWRAP", target=target)
    return lambda: setattr(target, "scale", (1.3, 1.3, 1.3))


def parented(obj):
    parent = bpy.data.objects.new("Stand", None)
    bpy.context.collection.objects.link(parent)
    obj.parent = parent
    return lambda: setattr(parent, "scale", (1.1, 1.1, 1.1))


def scaled(obj):
    return lambda: setattr(obj, "scale", (1.1, 1.1, 1.1))


def measured(_obj):
    return lambda: setattr(bpy.context.scene.unit_settings, "scale_length", 0.5)


CHANGES = (finer, tapered, keyed, posed, wrapped, parented, scaled, measured)


@pytest.mark.parametrize("prepare", CHANGES, ids=lambda change: change.__name__)
def test_a_change_of_what_a_run_reads_makes_results_outdated(panels, module, folder, capfd, prepare):
    obj, summary = panels(), module("addon.summary")
    change = prepare(obj)
    bpy.ops.foamwright.flatten()
    assert not summary.refresh(bpy.context).outdated
    change()
    bpy.context.view_layer.update()
    assert summary.refresh(bpy.context).outdated
    capfd.readouterr()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"JSON"})
    assert "has changed since it was laid flat" in capfd.readouterr().out


def test_a_file_opened_again_is_not_outdated_until_a_modifier_changes(panels, module, tmp_path):
    panels().modifiers.new("Finer", "SUBSURF")
    bpy.ops.foamwright.flatten()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shell.blend"))
    refresh = module("addon.summary").refresh
    assert not refresh(bpy.context).outdated
    bpy.context.object.modifiers["Finer"].levels = 2
    assert refresh(bpy.context).outdated


@pytest.mark.parametrize("in_edit_mode", [True, False])
def test_edit_mode_is_read_and_counted_as_object_mode(panels, module, in_edit_mode):
    obj, summary, bridge = panels(), module("addon.summary"), module("addon.bridge")
    with_modifier(obj, "MIRROR", use_axis=(False, True, False), show_in_editmode=in_edit_mode)
    with_modifier(obj, "SUBSURF", show_in_editmode=in_edit_mode)
    bpy.ops.foamwright.flatten()
    seen = summary.refresh(bpy.context)
    shell = bridge.shell_from_object(bpy.context, obj)
    assert seen.size_mm == pytest.approx(shell.size, abs=1e-3)
    assert seen.faces == shell.face_count == 16
    bpy.ops.object.mode_set(mode="EDIT")
    assert summary.refresh(bpy.context) == seen
    assert not seen.outdated
    assert bridge.same_shell(shell, bridge.shell_from_object(bpy.context, obj))
    assert {modifier.show_in_editmode for modifier in obj.modifiers} == {in_edit_mode}


def test_a_plan_is_outdated_when_a_modifier_moves_the_shell(dome, module):
    obj, plans = dome(), module("addon.plans")
    deform = with_modifier(obj, "SIMPLE_DEFORM", deform_method="TAPER", factor=0.1)
    bpy.ops.foamwright.suggest_seams()
    assert not plans.is_outdated(obj)
    deform.factor = 0.3
    assert plans.is_outdated(obj)


def test_a_shell_whose_modifiers_blender_leaves_out_is_refused_with_the_reason(panels, module):
    obj = panels()
    obj.modifiers.new("Finer", "SUBSURF")
    obj.hide_viewport = True
    with pytest.raises(module("core.errors").MeshError, match="disabled in viewports"):
        module("addon.bridge").shell_from_object(bpy.context, obj)
    obj.hide_viewport = False
    obj.hide_set(True)
    assert module("addon.bridge").shell_from_object(bpy.context, obj).face_count == 8


# --- half a helmet, a mirror, a subdivision ----------------------------------------------------------

SIDES, RINGS, RADIUS = 8, 5, 110.0


def half_helmet():
    """Half a dome from its front over the left (+x) to its back, open below; and the seams that part its bands."""
    points = [(0.0, 0.0, 1.2 * RADIUS)]
    for ring in range(1, RINGS + 1):
        tilt = math.radians(95) * ring / RINGS
        for side in range(SIDES + 1):
            turn = math.pi * side / SIDES - math.pi / 2
            across = RADIUS * math.sin(tilt) * math.cos(turn) if 0 < side < SIDES else 0.0
            points.append((across, 1.3 * RADIUS * math.sin(tilt) * math.sin(turn), 1.2 * RADIUS * math.cos(tilt)))

    def at(ring, side):
        return 0 if ring == 0 else 1 + (ring - 1) * (SIDES + 1) + side

    faces = [(0, at(1, side), at(1, side + 1)) for side in range(SIDES)]
    faces += [
        (at(ring, side), at(ring + 1, side), at(ring + 1, side + 1), at(ring, side + 1))
        for ring in range(1, RINGS)
        for side in range(SIDES)
    ]
    seams = [(at(2, side), at(2, side + 1)) for side in range(SIDES)]
    seams += [(at(ring, side), at(ring + 1, side)) for ring in range(2, RINGS) for side in (2, 5)]
    seams += [(at(ring, 0), at(ring + 1, 0)) for ring in range(2)]
    seams += [(at(ring, SIDES), at(ring + 1, SIDES)) for ring in range(2)]
    return points, faces, seams


@pytest.fixture(params=[True, False], ids=["merged", "not merged"])
def helmet(request, make):
    """A half helmet with a mirror and a subdivision."""

    def helmet(levels=1):
        points, faces, seams = half_helmet()
        obj = make(points, faces, seams=seams, name="helmet")
        with_modifier(obj, "MIRROR", use_mirror_merge=request.param)
        with_modifier(obj, "SUBSURF", levels=levels)
        return obj

    return helmet


def told(obj, module):
    """What the maker can recognise: per piece its name, foam and middle; per joint letter, rule and middle."""
    pattern = module("addon.results").stored_pattern(obj)
    shell = pattern.shell
    pieces = {
        piece.name: (piece.stock.thickness_mm, *shell.face_centre[piece.faces].mean(axis=0).round(1).tolist())
        for piece in pattern.pieces
    }
    runs = {
        run.letter: (run.locked, *shell.vertices[shell.edges[run.edges]].mean(axis=(0, 1)).round(1).tolist())
        for run in pattern.runs
    }
    return pieces, runs


@pytest.fixture
def chosen(helmet, module):
    """A helmet laid flat, with a piece of each side renamed, one of them of other foam, and a joint locked."""

    def chosen():
        obj = helmet()
        bpy.ops.foamwright.flatten()
        left = next(piece for piece in obj.foamwright.pieces if piece.name.endswith(" L"))
        mate = left.mate
        bpy.ops.foamwright.rename_piece(piece=left.name, new_name="Left cheek")
        bpy.ops.foamwright.rename_piece(piece=mate, new_name="Right cheek")
        bpy.ops.foamwright.set_piece_stock(piece="Left cheek", thickness_mm=8, mate_too=False)
        lock = next(run for run in obj.foamwright.runs if not run.is_rim and "Right cheek" in (run.one, run.other))
        lock.joint_choice = "MITRE"
        bpy.ops.foamwright.flatten()
        return obj, lock.name

    return chosen


def move_front(obj):
    """Pull the front of the half a little forward, in Edit Mode."""
    import bmesh

    bpy.ops.object.mode_set(mode="EDIT")
    mesh = bmesh.from_edit_mesh(obj.data)
    for vertex in mesh.verts:
        if vertex.co.y < -0.05:
            vertex.co.y -= 0.015
    bmesh.update_edit_mesh(obj.data)
    bpy.ops.object.mode_set(mode="OBJECT")


def divide_all(_obj):
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.subdivide()
    bpy.ops.object.mode_set(mode="OBJECT")


def apply_all(obj):
    for name in [modifier.name for modifier in obj.modifiers]:
        bpy.ops.object.modifier_apply(modifier=name)


def refine(obj):
    obj.modifiers[1].levels = 2


def turn(obj):
    obj.rotation_euler = (0.0, 0.0, math.pi / 2)
    obj.location = (1.0, 0.5, 0.0)
    bpy.context.view_layer.update()


def test_what_was_chosen_stands_where_it_was_chosen(chosen, module):
    obj, letter = chosen()
    pieces, runs = told(obj, module)
    assert [name for name, (thickness, *_) in pieces.items() if thickness == 8] == ["Left cheek"]
    assert pieces["Left cheek"][1] > 20 > -20 > pieces["Right cheek"][1]
    assert [name for name, (locked, *_) in runs.items() if locked] == [letter]
    assert runs[letter][1] < 0


def test_laying_flat_again_with_no_edit_changes_nothing(chosen, module):
    obj, _ = chosen()
    before = told(obj, module)
    bpy.ops.foamwright.flatten()
    assert told(obj, module) == before
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.foamwright.flatten()
    assert told(obj, module) == before


def test_names_foam_locks_and_letters_are_found_again_in_an_opened_file(chosen, module, tmp_path):
    obj, _ = chosen()
    before = told(obj, module)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "helmet.blend"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "helmet.blend"))
    bpy.ops.foamwright.flatten()
    assert told(bpy.context.object, module) == before


@pytest.mark.parametrize("edit", [move_front, divide_all, apply_all, refine, turn], ids=lambda edit: edit.__name__)
def test_names_foam_locks_and_letters_outlast_an_edit(chosen, module, edit):
    obj, _ = chosen()
    before = told(obj, module)
    edit(obj)
    bpy.ops.foamwright.flatten()
    after = told(obj, module)
    matrix = np.array(obj.matrix_world)
    for kind, (old, new) in enumerate(zip(before, after, strict=True)):
        assert list(new) == list(old) if edit is not turn else set(new) == set(old)
        for name in old:
            choice, *place = old[name]
            assert new[name][0] == choice
            moved = matrix[:3, :3] @ place + 1000 * matrix[:3, 3]
            assert np.linalg.norm(moved - new[name][1:]) < 20, (kind, name)


def test_a_choice_that_nothing_is_found_for_is_told(panels, capfd):
    obj = panels()
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.rename_piece(piece="P1", new_name="Brow")
    obj.foamwright.runs[0].joint_choice = "BUTT"
    letter = obj.foamwright.runs[0].name
    for edge in obj.data.edges:
        edge.use_seam = False
    bpy.ops.foamwright.rename_piece(piece="P2", new_name="Cheek")
    capfd.readouterr()
    bpy.ops.foamwright.flatten()
    said = capfd.readouterr().out
    assert "forgotten: piece " in said
    assert f"the lock of joint {letter} (Brow, Cheek)" in said


# --- what is marked, selected and coloured ------------------------------------------------------------


def made_anew(obj):
    """A modifier that puts a grid in place of the mesh, which knows nothing of it."""
    group = bpy.data.node_groups.new("Grid", "GeometryNodeTree")
    group.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    grid, end = group.nodes.new("GeometryNodeMeshGrid"), group.nodes.new("NodeGroupOutput")
    group.links.new(grid.outputs[0], end.inputs[0])
    for socket, size in zip(grid.inputs, (0.2, 0.1, 5, 4), strict=True):
        socket.default_value = size
    with_modifier(obj, "NODES", node_group=group)


def test_made_faces_have_the_colours_of_the_worst(helmet, module, capfd):
    obj = helmet()
    bpy.ops.foamwright.flatten()
    assert "the worst of those made from it" in capfd.readouterr().out
    pattern = module("addon.results").stored_pattern(obj)
    shown = np.empty(len(obj.data.polygons), np.float32)
    obj.data.attributes["foam_strain"].data.foreach_get("value", shown)
    strain = np.abs(module("core.heat").shell_strain(pattern))
    assert np.abs(shown).max() == pytest.approx(strain.max(), rel=1e-5)
    # four or three faces of each side are made from one
    made = np.repeat(np.arange(len(shown)), [face.loop_total for face in obj.data.polygons])
    for side in np.split(strain, 2):
        assert (np.abs(shown)[made] >= side - 1e-6).all()
    assert not [attribute.name for attribute in obj.data.attributes if attribute.name.startswith("foamwright_own")]


def test_a_shell_made_anew_is_laid_flat_and_told_why_it_is_not_coloured(panels, capfd):
    obj = panels()
    bpy.ops.foamwright.flatten()
    made_anew(obj)
    capfd.readouterr()
    bpy.ops.foamwright.flatten()
    assert "Only the flat pieces are coloured" in capfd.readouterr().out
    assert "Foam strain" not in obj.data.color_attributes
    name = obj.foamwright.pieces[0].name
    bpy.ops.foamwright.rename_piece(piece=name, new_name="Plate")
    bpy.ops.foamwright.flatten()
    assert [piece.name for piece in obj.foamwright.pieces] == ["Plate"]


def test_no_seam_can_be_marked_where_all_edges_are_made_anew(panels, module):
    obj = panels()
    made_anew(obj)
    for ask in (bpy.ops.foamwright.suggest_seams, bpy.ops.foamwright.removable_seams):
        with pytest.raises(RuntimeError, match="apply the modifiers"):
            ask()
    shell = module("addon.bridge").shell_from_object(bpy.context, obj)
    with pytest.raises(module("core.errors").MeshError, match="no seam can stand there"):
        module("addon.own_mesh").write_seams(bpy.context, obj, shell, ~shell.edge_is_rim)


def test_a_seam_marked_on_a_made_edge_stands_on_all_made_from_the_same(helmet, module):
    obj, bridge, own_mesh = helmet(), module("addon.bridge"), module("addon.own_mesh")
    shell = bridge.shell_from_object(bpy.context, obj)
    origins = own_mesh.origins_of(bpy.context, obj, shell)
    free = next(
        edge
        for edge in range(len(obj.data.edges))
        if not obj.data.edges[edge].use_seam and (origins.edge == edge).sum() == 4
    )
    seam = shell.seam.copy()
    seam[np.flatnonzero(origins.edge == free)[0]] = True
    assert own_mesh.write_seams(bpy.context, obj, shell, seam) == 0
    again = bridge.shell_from_object(bpy.context, obj)
    assert np.array_equal(again.seam, shell.seam | (origins.edge == free))
    assert obj.data.edges[free].use_seam


def test_an_edge_that_no_seam_can_stand_on_is_counted(helmet, module):
    obj, bridge, own_mesh = helmet(), module("addon.bridge"), module("addon.own_mesh")
    shell = bridge.shell_from_object(bpy.context, obj)
    origins = own_mesh.origins_of(bpy.context, obj, shell)
    seam = shell.seam.copy()
    seam[np.flatnonzero(origins.edge < 0)[:3]] = True
    seam[origins.edge == origins.edge[np.flatnonzero(~shell.seam & (origins.edge >= 0))[0]]] = True
    assert own_mesh.write_seams(bpy.context, obj, shell, seam) == 3


def test_missing_cuts_are_made_where_the_maker_could_mark_them(make, module):
    """A closed box, half of it mirrored: neither closed nor a tube when the cuts are there."""
    corners = [(x, y, z) for x in (0, 90) for y in (0, 60) for z in (0, 40)]
    faces = [(0, 4, 5, 1), (4, 6, 7, 5), (6, 2, 3, 7), (1, 5, 7, 3), (4, 0, 2, 6)]
    obj = make(corners, faces)
    with_modifier(obj, "MIRROR")
    with_modifier(obj, "SUBSURF", levels=2)
    bpy.ops.foamwright.complete_seams()
    assert any(edge.use_seam for edge in obj.data.edges)
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}


def test_findings_select_what_the_maker_modelled(helmet, module):
    obj = helmet()
    bpy.context.scene.foamwright.heavy_bevel = 0.05
    bpy.ops.foamwright.flatten()
    pattern = module("addon.results").stored_pattern(obj)
    number = next(i for i, finding in enumerate(pattern.findings) if finding.faces)
    index = next(i for i, one in enumerate(obj.foamwright.findings) if one.message == pattern.findings[number].message)
    bpy.ops.foamwright.select_place(index=index)
    bpy.ops.object.mode_set(mode="OBJECT")
    made = len(pattern.shell.faces) // (2 * len(obj.data.polygons))
    chosen = [face.index for face in obj.data.polygons if face.select]
    assert chosen
    assert len(chosen) <= len(pattern.findings[number].faces)
    assert made >= 3


def test_a_plan_lies_on_edges_that_can_be_marked_and_is_taken(make, module):
    points, faces, _ = half_helmet()
    obj = make(points, faces, name="helmet")
    with_modifier(obj, "MIRROR")
    with_modifier(obj, "SUBSURF", levels=1)
    bpy.ops.foamwright.suggest_seams()
    plans, bridge, own_mesh = module("addon.plans"), module("addon.bridge"), module("addon.own_mesh")
    shell = bridge.shell_from_object(bpy.context, obj)
    assert obj.foamwright.plan.cuts
    promised = plans.seams_with_plan(obj, shell)
    origins = own_mesh.origins_of(bpy.context, obj, shell)
    assert (origins.edge[promised] >= 0).all()
    bpy.ops.foamwright.select_cut()
    bpy.ops.object.mode_set(mode="OBJECT")
    chosen = {tuple(sorted(edge.vertices)) for edge in obj.data.edges if edge.select}
    assert chosen == set(plans.place_of(plans.active_cut(obj)).edges)
    bpy.ops.foamwright.take_plan()
    assert np.array_equal(bridge.shell_from_object(bpy.context, obj).seam, promised)
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}

"""Drive the add-on in a Blender with a window, as a maker does; run by a command that offers `window_driver`.

    COMMAND drive_window.py [FOLDER FOR THE SCREENSHOTS]

With FOAMWRIGHT_ZIP the extension is installed from that zip, else this checkout is registered. Exits with 1 when
something is not as it should be. Places of buttons are pixels of a screen of 1600 x 900.
"""

from __future__ import annotations

import importlib
import importlib.util
import math
import os
import sys
import tempfile
from pathlib import Path

import bpy
from window_driver import click, key, run, shot, view3d

ROOT = Path(__file__).resolve().parents[2]
PICTURES = Path(sys.argv[sys.argv.index("--") + 1] if sys.argv[-1] != "--" else ROOT / "out" / "window")
INSTALLED = "bl_ext.user_default.foamwright"
SIDES, RINGS = 24, 8


def install() -> None:
    global package
    zip_file = os.environ.get("FOAMWRIGHT_ZIP")
    if zip_file:
        bpy.ops.extensions.package_install_files(repo="user_default", filepath=zip_file, enable_on_install=True)
        assert INSTALLED in bpy.context.preferences.addons
        package = INSTALLED
        return
    package = "foamwright"
    spec = importlib.util.spec_from_file_location(package, ROOT / "__init__.py", submodule_search_locations=[str(ROOT)])
    sys.modules[package] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules[package])
    sys.modules[package].register()


def module(name: str):
    return importlib.import_module(f"{package}.addon.{name}")


def make_shell() -> None:
    """A bulging forearm guard, 220 mm high, cut in a front and a back half."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    vertices, faces = [], []
    for ring in range(RINGS + 1):
        part = ring / RINGS
        radius = 0.045 + 0.02 * part + 0.006 * math.sin(math.pi * part)
        turns = [2 * math.pi * (side + 0.5) / SIDES for side in range(SIDES)]
        vertices += [(radius * math.cos(turn), radius * math.sin(turn), 0.22 * part) for turn in turns]
    for ring in range(RINGS):
        for side in range(SIDES):
            low, high = ring * SIDES, (ring + 1) * SIDES
            following = (side + 1) % SIDES
            faces.append((low + side, low + following, high + following, high + side))
    mesh = bpy.data.meshes.new("forearm guard")
    mesh.from_pydata(vertices, [], faces)
    for edge in mesh.edges:
        low, high = edge.vertices
        edge.use_seam = low % SIDES == high % SIDES and low % SIDES in (0, SIDES // 2)
    obj = bpy.data.objects.new("forearm guard", mesh)
    bpy.context.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    obj.select_set(True)
    bpy.ops.ed.undo_push(message="Shell")


def open_sidebar() -> None:
    with view3d():
        bpy.context.space_data.show_region_ui = True
        bpy.context.space_data.clip_start = 0.001
        bpy.ops.view3d.view_selected()


def choose_tab() -> None:
    area = next(area for area in bpy.context.window_manager.windows[0].screen.areas if area.type == "VIEW_3D")
    sidebar = next(region for region in area.regions if region.type == "UI")
    sidebar.active_panel_category = "Foamwright"


def picture(name: str):
    return lambda: shot(str(PICTURES / f"{name}.png"))


# --- what is looked at ------------------------------------------------------------------------------

FLATTEN = (1173, 787)
SUGGEST = (1173, 389)
RECKON = (1173, 482)
VIEW_MIDDLE = (660, 420)


def press(place: tuple[int, int]):
    def press() -> float:
        click(*place)
        return 0.3

    return press


def leave_the_button() -> None:
    """A mouse that jumps from one button to the next is not seen to be on it."""
    click(*VIEW_MIDDLE, button=2)


def press_keys(*names: str, seconds: float = 1.0):
    """Keys go to what the mouse is over: the viewport, or a window before it."""

    def press_keys() -> float:
        click(*VIEW_MIDDLE, button=2)
        key(*names)
        return seconds

    return press_keys


def shell() -> bpy.types.Object:
    return bpy.data.objects["forearm guard"]


def flats() -> list[bpy.types.Object]:
    return [obj for obj in bpy.data.objects if obj.foamwright.flat_of]


def nest_for(seconds: int):
    """A long job, to be stopped; a short one, to be waited for."""

    def nest_for() -> None:
        bpy.context.scene.foamwright.nest_seconds = seconds

    return nest_for


def is_running() -> None:
    running = module("jobs").running
    assert running is not None, "pressing the button started no job"
    assert 0 <= running.progress.part <= 1


def nothing_was_made() -> None:
    assert not flats()
    assert shell().foamwright.results is None
    assert "Foam strain" not in shell().data.attributes
    assert module("jobs").running is None


def result_is_there() -> None:
    assert module("jobs").running is None, "the job did not come to its end in time"
    assert len(flats()) == 2
    assert len(shell().foamwright.pieces) == 2
    for obj in (shell(), *flats()):
        assert obj.data.color_attributes.active_color.name == "Foam strain"
    strain = [value.value for flat in flats() for value in flat.data.attributes["foam_strain"].data]
    assert 0.0005 < max(map(abs, strain)) < 0.1, "a slightly bulging guard is slightly strained"


def ask_for_little_strain() -> None:
    bpy.context.scene.foamwright.cuts.strain_percent = 0.6


def plan_is_shown() -> None:
    assert module("jobs").running is None, "the job did not come to its end in time"
    cuts = shell().foamwright.plan.cuts
    assert any(cut.kept for cut in cuts)
    assert any(not cut.kept for cut in cuts)
    assert len(module("preview").picture().lines) == len(cuts)
    assert seam_count() == 2 * RINGS, "nothing is marked before the plan is taken"


def look_at_new_cut() -> None:
    plan = shell().foamwright.plan
    plan.active_cut = next(number for number, cut in enumerate(plan.cuts) if not cut.kept)


def leave_out_new_cut() -> None:
    global whole_plan
    plan = shell().foamwright.plan
    whole_plan = plan.told
    plan.cuts[plan.active_cut].wanted = False
    assert plan.told != whole_plan
    assert not plan.is_reckoned


def plan_is_reckoned() -> None:
    plan = shell().foamwright.plan
    assert module("jobs").running is None, "the job did not come to its end in time"
    assert plan.is_reckoned
    assert "worst strain" in plan.told
    assert module("preview").picture().words == plan.told
    assert seam_count() == 2 * RINGS


def take_new_cut_again() -> None:
    plan = shell().foamwright.plan
    plan.cuts[plan.active_cut].wanted = True
    assert plan.told == whole_plan


def take_plan() -> None:
    with view3d():
        bpy.ops.foamwright.take_plan("EXEC_DEFAULT", True)


def plan_is_taken() -> None:
    assert seam_count() > 2 * RINGS
    assert not shell().foamwright.plan.cuts
    assert module("preview").picture() is None


def nothing_waits() -> None:
    assert not shell().foamwright.plan.cuts
    assert module("preview").picture() is None
    assert seam_count() == 2 * RINGS


def seam_count() -> int:
    return sum(edge.use_seam for edge in shell().data.edges)


def wait() -> float:
    return 3.0 if module("jobs").running is not None else 0.0


def wait_for_start() -> float:
    return 0.0 if module("jobs").running is not None else 0.3


def show_all() -> None:
    with view3d():
        bpy.ops.view3d.view_all()
        bpy.ops.foamwright.colours(what="STRAIN")
        bpy.ops.foamwright.labels()
        assert bpy.context.space_data.shading.color_type == "VERTEX"


def show_flags() -> None:
    with view3d():
        bpy.ops.foamwright.colours(what="FLAGS")
        shown = module("colours").shown(bpy.context.space_data.shading, [shell().data])
    assert shown == "Foam flags"
    assert any(shell().foamwright.results.foamwright.flagged)
    legend, state = module("legend"), shell().foamwright.results.foamwright
    icons = [icon for what in ("Foam flags", "Foam strain") for _, icon in legend.lines_of(what, state)]
    assert len(icons) == sum(state.flagged) + 5
    assert 0 not in icons, "a screen has icons"
    assert len(set(icons)) == len(icons)


def ask_for_a_folder() -> None:
    global export_folder
    export_folder = Path(tempfile.mkdtemp())
    with view3d():
        kinds = {kind.key for kind in module("writers").KINDS}
        bpy.ops.foamwright.export("INVOKE_DEFAULT", directory=f"{export_folder}/", kinds=kinds)


def only_whole_files_were_written() -> None:
    assert module("jobs").running is None
    written = sorted(export_folder.glob("[!.]*"))
    assert len(written) < len(module("writers").KINDS)
    assert all(path.suffix == ".pdf" and path.read_bytes().rstrip().endswith(b"%%EOF") for path in written), written


def hide_labels() -> None:
    with view3d():
        bpy.ops.foamwright.labels()


def close_the_seams() -> None:
    for edge in shell().data.edges:
        edge.use_seam = False
    bpy.ops.ed.undo_push(message="No seams")


def trouble_is_told() -> None:
    trouble = module("trouble").of(shell())
    assert trouble is not None
    assert "tube" in trouble.message


def all_is_quiet() -> None:
    """Taking the add-on away leaves no drawing, timer or handler of ours behind."""
    sys.modules[package].unregister()
    assert not [h for h in bpy.app.handlers.depsgraph_update_post if package in h.__module__]


steps = [
    install,
    make_shell,
    open_sidebar,
    choose_tab,
    lambda: 1.0,
    picture("sidebar"),
    ask_for_little_strain,
    press(SUGGEST),
    *[wait] * 40,
    plan_is_shown,
    look_at_new_cut,
    lambda: 1.0,
    picture("plan"),
    leave_out_new_cut,
    lambda: 1.0,
    picture("plan-in-part"),
    leave_the_button,
    press(RECKON),
    *[wait] * 40,
    plan_is_reckoned,
    picture("plan-reckoned"),
    take_new_cut_again,
    take_plan,
    lambda: 1.0,
    plan_is_taken,
    picture("plan-taken"),
    press_keys("ctrl+z", seconds=3.0),
    plan_is_shown,
    press_keys("ctrl+z", seconds=3.0),
    plan_is_shown,
    press_keys("ctrl+z", seconds=3.0),
    nothing_waits,
    nest_for(60),
    press(FLATTEN),
    is_running,
    picture("running"),
    press_keys("Escape"),
    nothing_was_made,
    nest_for(1),
    press(FLATTEN),
    *[wait] * 40,
    result_is_there,
    show_all,
    lambda: 1.0,
    picture("flattened"),
    show_flags,
    lambda: 1.0,
    picture("flags"),
    ask_for_a_folder,
    lambda: 1.0,
    picture("folder"),
    press_keys("Return", seconds=0.2),
    *[wait_for_start] * 5,
    is_running,
    press_keys("Escape"),
    only_whole_files_were_written,
    picture("export-stopped"),
    hide_labels,
    press_keys("ctrl+z"),
    nothing_was_made,
    picture("undone"),
    press_keys("ctrl+shift+z"),
    result_is_there,
    press_keys("ctrl+z"),
    close_the_seams,
    press(FLATTEN),
    *[wait] * 40,
    trouble_is_told,
    nothing_was_made,
    picture("trouble"),
    all_is_quiet,
    picture("gone"),
]

if __name__ == "__main__":
    run(steps)

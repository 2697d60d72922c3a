"""What a file keeps can be damaged: a message, the usual defaults, and the rest goes on."""

import json

import bpy
import pytest


@pytest.fixture
def damaged(dome):
    """A shell with a plan and with results, whose stored text is then replaced: damaged(text)."""
    obj = dome()
    bpy.context.scene.foamwright.cuts.strain_percent = 3.0
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.suggest_seams()

    def damage(change):
        state = obj.foamwright.results.foamwright
        state.pattern_json = change(state.pattern_json)
        return obj

    return damage


def with_part(name, value):
    return lambda text: json.dumps({**json.loads(text), name: value})


TEXTS = {
    "cut short": lambda text: text[: len(text) // 2],
    "empty": lambda _: "",
    "no JSON": lambda _: "\x7fELF not json",
    "too deep": lambda _: "[" * 200_000,
    "a huge number": lambda text: text.replace('"angle": ', '"angle": ' + "9" * 5000, 1),
    "another version": with_part("version", 99),
    "no pieces": with_part("pieces", []),
    "a list": lambda _: "[]",
}


@pytest.mark.parametrize("change", TEXTS.values(), ids=TEXTS)
def test_a_damaged_pattern_is_told_and_flatten_makes_a_new_one(damaged, change, module, tmp_path):
    obj = damaged(change)
    for operator, words in (
        ("export", {"directory": str(tmp_path), "kinds": {"JSON"}}),
        ("heatmap_picture", {"filepath": str(tmp_path / "heat.png")}),
        ("rename_piece", {"piece": obj.foamwright.pieces[0].name, "new_name": "Brow"}),
    ):
        with pytest.raises(RuntimeError, match="flatten it again") as told:
            getattr(bpy.ops.foamwright, operator)(**words)
        assert "Traceback" not in str(told.value)
    assert not list(tmp_path.iterdir())
    module("addon.overlay").refresh()
    module("addon.summary").refresh(bpy.context)
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}
    assert bpy.ops.foamwright.export(directory=str(tmp_path), kinds={"JSON"}) == {"FINISHED"}
    assert bpy.ops.foamwright.clear() == {"FINISHED"}


def test_results_with_a_damaged_pattern_can_be_removed(damaged):
    damaged(lambda _: "")
    assert bpy.ops.foamwright.clear() == {"FINISHED"}
    assert len(bpy.data.objects) == 1


WORDS = ["a b", "1 2 3", "-1 -2", f"{10**30} 1", "٣ ٤", "1.5 2"]
NO_EDGES = ["0 99999", "5 5"]


@pytest.mark.parametrize("words", WORDS)
def test_a_damaged_plan_is_told_and_can_be_dropped(damaged, module, words):
    obj = damaged(lambda text: text)
    for cut in obj.foamwright.plan.cuts:
        cut.edges = cut.own_edges = words
    before = [edge.use_seam for edge in obj.data.edges]
    for operator in ("take_plan", "reckon_plan", "select_cut"):
        with pytest.raises(RuntimeError, match="damaged") as told:
            getattr(bpy.ops.foamwright, operator)()
        assert "Traceback" not in str(told.value)
    assert [edge.use_seam for edge in obj.data.edges] == before
    module("addon.preview").refresh(bpy.context)
    obj.foamwright.plan.active_cut = 1
    assert bpy.ops.foamwright.drop_plan() == {"FINISHED"}
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}


@pytest.mark.parametrize("words", NO_EDGES)
def test_a_plan_that_names_no_edges_marks_none(damaged, words):
    obj = damaged(lambda text: text)
    obj.foamwright.plan.cuts[0].edges = words
    before = [edge.use_seam for edge in obj.data.edges]
    with pytest.raises(RuntimeError, match="drop it and ask again"):
        bpy.ops.foamwright.take_plan()
    assert [edge.use_seam for edge in obj.data.edges] == before


@pytest.mark.parametrize("words", WORDS)
@pytest.mark.parametrize("part", ["vertices", "edges", "faces"])
def test_a_damaged_finding_is_told(damaged, words, part):
    obj = damaged(lambda text: text)
    if part != "edges" and words == "1 2 3":
        return  # single numbers, as they should be
    finding = obj.foamwright.findings.add()
    setattr(finding, part, words)
    with pytest.raises(RuntimeError, match="damaged") as told:
        bpy.ops.foamwright.select_place(index=len(obj.foamwright.findings) - 1)
    assert "Traceback" not in str(told.value)
    assert bpy.ops.foamwright.check() == {"FINISHED"}


def test_numbers_of_chosen_items_that_cannot_be_choose_another(damaged, module):
    obj = damaged(lambda text: text)
    state = obj.foamwright
    state.active_piece, state.active_run, state.plan.active_cut = -7, 99, -7
    assert module("addon.piece_list").active_piece(obj) is not None
    assert module("addon.run_list").active_run(obj) is not None
    assert module("addon.plans").active_cut(obj) is not None

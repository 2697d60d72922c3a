"""A few random walks through what a maker does; `scripts/stress_operators.py` goes hundreds."""

import sys
from pathlib import Path

import bpy
import pytest

sys.path.append(str(Path(__file__).parents[2] / "scripts"))

from operator_walk import Walk

STEPS = 25


@pytest.fixture
def walk(module, package):
    def enable():
        if package not in bpy.context.preferences.addons and "." in package:
            bpy.ops.preferences.addon_enable(module=package)

    def begin():
        bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
        enable()
        bpy.context.scene.foamwright.nest_seconds = 1

    return lambda seed: Walk(seed, module, begin, enable)


@pytest.mark.parametrize("seed", range(3))
def test_nothing_of_the_makers_is_lost_on_a_walk(walk, seed):
    one = walk(seed)
    faults = one.run(STEPS)
    assert not faults, one.log


def test_a_walk_tells_what_is_lost(walk, module, monkeypatch):
    one = walk(1)
    assert not one.step("flatten")
    (shell,) = one.shells()
    one.add_shell()
    (other,) = set(one.shells()) - {shell}
    for home in other.users_collection:
        home.objects.unlink(other)
    shell.foamwright.results.objects.link(other)
    one.activate(shell)

    def remove_all(root):
        for obj in list(root.all_objects):
            bpy.data.objects.remove(obj)

    monkeypatch.setattr(module("addon.belongings"), "remove_results", remove_all)
    assert any("of the maker is gone" in fault for fault in one.step("clear"))


def test_a_walk_tells_of_raw_exceptions_and_of_what_is_left_over(walk, module, monkeypatch):
    one = walk(1)
    one.step("flatten")
    monkeypatch.setattr(module("addon.belongings"), "remove_results", lambda root: 1 / 0)
    assert any("ZeroDivisionError" in fault for fault in one.step("clear"))
    one = walk(1)
    one.step("flatten")
    monkeypatch.setattr(module("addon.belongings"), "remove_results", lambda root: None)
    monkeypatch.setattr(module("addon.belongings"), "is_left_over", lambda root: False)
    assert any("result of no shell" in fault for fault in one.step("clear"))

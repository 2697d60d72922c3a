"""A random walk through what a maker does in Blender, and what must hold after each step.

Whatever the maker made carries a number, and a ledger in the file says which numbers there are; undo and reloads take
both along. The walk fails where a number is gone that no step has deleted, where an operator of Foamwright ends in
anything but its own message, and where a result is left that belongs to no run.
"""

from __future__ import annotations

import json
import math
import random
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
from walk_steps import LEDGER, MINE, STEPS, Skip


class Walk:
    """One walk in a new file; `module` imports a module of the add-on, `begin` opens an empty file with it enabled."""

    def __init__(self, seed: int, module: Callable[[str], Any], begin: Callable[[], None], enable: Callable[[], None]):
        self.random, self.module, self.enable = random.Random(seed), module, enable
        self.folder = Path(tempfile.mkdtemp(prefix="foamwright-walk-"))
        self.log: list[str] = []
        self.counts: Counter[str] = Counter()
        self.next_number = 0
        begin()
        bpy.data.texts.new(LEDGER).write("{}")
        self.add_shell()
        self.push("begin")

    def run(self, steps: int) -> list[str]:
        """Faults; the first one ends the walk. A step that nothing can be done to is no step."""
        names = [name for name, step in STEPS.items() for _ in range(step.weight)]
        faults = self.step("flatten") if self.random.random() < 0.7 else []
        while not faults and self.counts.total() - self.counts["skipped"] < steps:
            faults = self.step(self.random.choice(names))
        return faults

    def step(self, name: str) -> list[str]:
        unused = {mesh.name for mesh in bpy.data.meshes if mesh.users == 0}
        self.log.append(name)
        try:
            STEPS[name].do(self)
            told = "done"
        except Skip:
            told = "skipped"
        except RuntimeError as problem:
            told = "refused"
            if "Traceback" in str(problem):
                return [f"{name}: {_last_lines(str(problem))}"]
        except Exception as problem:  # whatever it is, it is a fault
            return [f"{name}: {type(problem).__name__}: {problem}"]
        self.counts[told] += 1
        self.log[-1] += "" if told == "done" else f" ({told})"
        if told != "skipped" and not STEPS[name].is_history:
            self.push(name)
        return self.faults(unused if STEPS[name].is_ours else None)

    # --- what must hold --------------------------------------------------------------------------------

    def faults(self, unused_before: set[str] | None) -> list[str]:
        found = [f"'{name}' of the maker is gone" for name in self.missing()]
        belongings, results = self.module("addon.belongings"), self.module("addon.results")
        for obj in bpy.data.objects:
            if not obj.users_collection:
                continue
            if belongings.is_made(obj):
                root = obj.foamwright.results
                if not belongings.is_left_over(root) and results.results_of(root.foamwright.shell) != root:
                    found.append(f"'{obj.name}' is a result of no shell")
            elif results.results_of(obj) is not None and obj.foamwright.results.foamwright.shell != obj:
                found.append(f"'{obj.name}' has results of another")
        owners = Counter(root.foamwright.shell.name for root in self.living_roots())
        found += [f"'{name}' has results twice" for name, count in owners.items() if count > 1]
        if unused_before is not None:
            found += [
                f"the mesh '{mesh.name}' is left without a user"
                for mesh in bpy.data.meshes
                if mesh.users == 0 and mesh.name not in unused_before
            ]
        for part in ("addon.summary", "addon.preview"):
            try:
                self.module(part).refresh(bpy.context)
            except Exception as problem:  # whatever it is, a panel would fall over it
                found.append(f"{part}: {type(problem).__name__}: {problem}")
        return found

    def living_roots(self):
        for root in bpy.data.collections:
            shell = root.foamwright.shell
            if shell is not None and shell.users_collection and shell.foamwright.results == root:
                yield root

    def missing(self) -> list[str]:
        there: dict[str, int] = {}
        for obj in bpy.data.objects:
            if MINE in obj and obj.users_collection and obj.type == "MESH":
                there[str(obj[MINE])] = max(there.get(str(obj[MINE]), 0), len(obj.data.polygons))
        return [name for number, name in self.ledger().items() if not there.get(number)]

    # --- the ledger ------------------------------------------------------------------------------------

    def ledger(self) -> dict[str, str]:
        return json.loads(bpy.data.texts[LEDGER].as_string())

    def write_ledger(self, ledger: dict[str, str]) -> None:
        text = bpy.data.texts[LEDGER]
        text.clear()
        text.write(json.dumps(ledger))

    def own(self, obj: bpy.types.Object) -> None:
        """The maker has made this."""
        self.next_number += 1
        obj[MINE] = self.next_number
        self.write_ledger({**self.ledger(), str(self.next_number): obj.name})

    def disown(self, obj: bpy.types.Object) -> None:
        """The maker deletes this; it may be one of several scenes that have it."""
        number = obj.get(MINE)
        if sum(other.get(MINE) == number and bool(other.users_collection) for other in bpy.data.objects) == 1:
            self.write_ledger({key: name for key, name in self.ledger().items() if key != str(number)})

    # --- what steps need -------------------------------------------------------------------------------

    def push(self, name: str) -> None:
        bpy.ops.ed.undo_push(message=name)

    def call(self, operator: str, **words) -> None:
        getattr(bpy.ops.foamwright, operator)(**words)

    def pick(self, things):
        chosen = list(things)
        if not chosen:
            raise Skip
        return chosen[self.random.randrange(len(chosen))]

    def object_mode(self) -> None:
        active = bpy.context.view_layer.objects.active
        if active is not None and active.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")

    def activate(self, obj: bpy.types.Object) -> bpy.types.Object:
        self.object_mode()
        if bpy.context.view_layer.objects.get(obj.name) != obj:
            raise Skip
        for other in bpy.context.view_layer.objects:
            other.select_set(other == obj)
        bpy.context.view_layer.objects.active = obj
        return obj

    def select(self, obj: bpy.types.Object) -> bpy.types.Object:
        """As `activate`, for what Blender does to the selection alone; nothing hidden can be selected."""
        self.activate(obj)
        if not obj.select_get():
            raise Skip
        return obj

    def shells(self) -> list[bpy.types.Object]:
        is_shell = self.module("addon.shell_state").is_shell
        return [obj for obj in bpy.context.scene.objects if is_shell(obj) and MINE in obj]

    def results(self) -> list[bpy.types.Object]:
        return [obj for obj in bpy.context.scene.objects if self.module("addon.belongings").is_made(obj)]

    def active(self) -> bpy.types.Object:
        obj = bpy.context.view_layer.objects.active
        if obj is None or MINE not in obj or obj.type != "MESH":
            obj = self.activate(self.pick(self.shells()))
        return obj

    def collections(self) -> list[bpy.types.Collection]:
        return [bpy.context.scene.collection, *bpy.context.scene.collection.children_recursive]

    def add_shell(self) -> None:
        """An open cup of a few rings, with a seam down one side now and then."""
        sides, rings, radius = self.random.choice((6, 8)), self.random.choice((2, 3)), self.random.uniform(0.03, 0.09)
        points = []
        for ring in range(rings + 1):
            lift, width = math.sin(ring / rings * 1.2), math.cos(ring / rings * 1.2)
            turns = (2 * math.pi * side / sides for side in range(sides))
            points += [(radius * width * math.cos(t), radius * width * math.sin(t), radius * lift) for t in turns]
        faces = [
            (ring * sides + side, ring * sides + (side + 1) % sides, (ring + 1) * sides + (side + 1) % sides,
             (ring + 1) * sides + side)
            for ring in range(rings)
            for side in range(sides)
        ]  # fmt: skip
        mesh = bpy.data.meshes.new("cap")
        mesh.from_pydata(points, [], faces)
        for edge in mesh.edges:
            low, high = sorted(edge.vertices)
            edge.use_seam = low % sides == high % sides == 0
        obj = bpy.data.objects.new("cap", mesh)
        self.pick(self.collections()).objects.link(obj)
        self.own(obj)
        self.activate(obj)


def _last_lines(problem: str) -> str:
    return " | ".join(line.strip() for line in problem.strip().splitlines() if line.strip())[-500:]

"""The house keeps its walls: `core` knows nothing of Blender, `addon` computes nothing, modules stay small."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CORE = sorted((ROOT / "core").rglob("*.py"))
ADDON = sorted((ROOT / "addon").rglob("*.py"))
SCRIPTS = sorted((ROOT / "scripts").glob("*.py"))
BLENDER = {"bpy", "bmesh", "mathutils", "gpu", "gpu_extras", "blf", "bl_ui", "bpy_extras", "addon_utils", "idprop"}
LINE_LIMIT = 500
# solvers and measures belong in `core`; the add-on carries arrays and places objects by Blender's own matrices
ALGEBRA = {"linalg", "dot", "cross", "einsum", "matmul", "inner", "outer", "fft", "arctan2", "arccos", "hypot"}


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imported_modules(source: str) -> set[str]:
    """Top names of everything that a module imports absolutely, wherever the import stands."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def relative_targets(path: Path, source: str) -> set[str]:
    """The first folder below the root that each relative import of a module reaches."""
    package = path.relative_to(ROOT).parent.parts
    reached = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = package[: len(package) - node.level + 1]
            for name in [node.module] if node.module else [alias.name for alias in node.names]:
                reached.add((*base, *name.split("."))[0])
    return reached


def algebra_in(source: str) -> set[str]:
    """Names of numpy algebra that a module uses."""
    return {node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)} & ALGEBRA


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_core_knows_nothing_of_blender_or_of_the_addon(path):
    source = path.read_text(encoding="utf-8")
    assert not imported_modules(source) & BLENDER
    assert relative_targets(path, source) <= {"core"}


@pytest.mark.parametrize("path", ADDON, ids=name_of)
def test_addon_does_no_algebra_and_no_science(path):
    source = path.read_text(encoding="utf-8")
    assert not algebra_in(source)
    assert not imported_modules(source) & {"scipy", "shapely", "spyrrow", "reportlab", "ezdxf"}


@pytest.mark.parametrize("path", [ROOT / "__init__.py", *CORE, *ADDON], ids=name_of)
def test_imports_inside_the_package_are_relative(path):
    # Blender installs the package under another name, so "foamwright" would not be found there
    assert "foamwright" not in imported_modules(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", [*CORE, *ADDON, *SCRIPTS], ids=name_of)
def test_modules_stay_small(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINE_LIMIT


def rooms_named(guide: str) -> set[str]:
    """Files and folders in the first column of the guide's table of rooms."""
    rows = guide.partition("## The rooms")[2].partition("\n## ")[0].splitlines()
    named = set()
    for row in rows:
        names = re.findall("`([^`]+)`", row.partition(" | ")[0]) if row.startswith("| `") else []
        named |= {str(Path(names[0]).parent / Path(name).name) for name in names}
    return named


def test_every_module_has_its_room_in_the_guide_and_every_room_its_module():
    there = {
        name_of(path) for half in ("core", "addon") for path in (ROOT / half).iterdir() if path.name[0] not in "_."
    }
    assert rooms_named((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")) == there


def after_importing_core(before: str = "", after: str = "") -> subprocess.CompletedProcess:
    modules = [".".join(("foamwright", *path.relative_to(ROOT).with_suffix("").parts)) for path in CORE]
    imports = "".join(f"import {name.removesuffix('.__init__')}\n" for name in modules)
    lines = f"import sys\n{before}\n{imports}{after}"
    return subprocess.run([sys.executable, "-c", lines], capture_output=True, text=True, check=False)


def test_core_imports_where_there_is_no_blender():
    done = after_importing_core(before=f"sys.modules.update(dict.fromkeys({sorted(BLENDER)!r}))")
    assert done.returncode == 0, done.stderr


def test_core_does_not_keep_blender_from_ending():
    """With `scipy.optimize` loaded, by its `_trlib`, Blender 4.5 as a Python module is not shut down when the
    interpreter ends, and then waits for ever for a thread of its own (scipy 1.15.3); scipy.interpolate, signal and
    stats load it too."""
    done = after_importing_core(after="print('scipy.optimize' in sys.modules)")
    assert done.stdout.strip() == "False", done.stderr


def test_the_wall_sees_what_it_should_stop():
    assert imported_modules("def f():\n    from bpy.types import Object\n    import mathutils.kdtree\n") == {
        "bpy",
        "mathutils",
    }
    assert relative_targets(ROOT / "core" / "layout" / "nest.py", "from ...addon import bridge") == {"addon"}
    assert relative_targets(ROOT / "core" / "shell.py", "from .errors import MeshError") == {"core"}
    assert algebra_in("c = numpy.linalg.norm(a)") == {"linalg"}

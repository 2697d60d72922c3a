"""Tests that run inside Blender as a Python module.

With FOAMWRIGHT_ZIP they install that zip and test what ships; without it they test this checkout. Settings
and extensions of Blender go to a temporary folder unless BLENDER_USER_RESOURCES names one.
"""

import importlib
import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

os.environ.setdefault("BLENDER_USER_RESOURCES", tempfile.mkdtemp(prefix="foamwright-"))

import pytest
import shapes
from shapes import BOX, BOX_SEAMS, PANELS

try:
    import bpy
except ImportError:  # a plain Python, where the tests of core run: nothing here is for it
    collect_ignore_glob = ["*"]

INSTALLED = "bl_ext.user_default.foamwright"


@pytest.fixture(scope="session")
def package():
    """Name of the package under test, registered."""
    zip_file = os.environ.get("FOAMWRIGHT_ZIP")
    if zip_file:
        bpy.ops.extensions.package_install_files(repo="user_default", filepath=zip_file, enable_on_install=True)
        assert INSTALLED in bpy.context.preferences.addons, f"{zip_file} was not enabled"
        yield INSTALLED
    else:
        checkout = importlib.import_module("foamwright")
        checkout.register()
        yield "foamwright"
        checkout.unregister()  # Blender would fall over its classes when it ends


@pytest.fixture
def module(package):
    """Import a module of the package under test: module("addon.bridge")."""
    return lambda name: importlib.import_module(f"{package}.{name}")


def pytest_configure(config):
    config.addinivalue_line("markers", "nester: lets the nester work, which takes a second at least")


@pytest.fixture(autouse=True)
def plain_rows(request, module, monkeypatch):
    """Pieces are placed in plain rows, as where the nester is missing, in tests that do not look at its work."""
    if request.node.get_closest_marker("nester") is None:
        monkeypatch.setattr(module("core.layout.nest"), "spyrrow", None)


@pytest.fixture(autouse=True)
def empty_file(package):
    """A factory file before each test; nesting as short as it goes."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.context.scene.foamwright.nest_seconds = 1


@pytest.fixture
def make(empty_file):
    """Make a mesh object and activate it: make(vertices in mm, faces, seams=pairs, sharp=pairs, name=...)."""

    def make(vertices, faces, seams=(), sharp=(), name="shell"):
        mesh = bpy.data.meshes.new(name)
        mesh.from_pydata([[x / 1000 for x in vertex] for vertex in vertices], [], faces)
        for pairs, flag in ((seams, "use_seam"), (sharp, "use_edge_sharp")):
            wanted = {frozenset(pair) for pair in pairs}
            for edge in mesh.edges:
                setattr(edge, flag, frozenset(edge.vertices) in wanted)
        obj = bpy.data.objects.new(name, mesh)
        bpy.context.collection.objects.link(obj)
        bpy.context.view_layer.objects.active = obj
        obj.select_set(True)
        return obj

    return make


@pytest.fixture
def box(make):
    """A box 120 x 90 x 60 mm whose seams open it to a cross: 6 faces, 1 piece, 5 folds."""
    return lambda **words: make(*BOX, seams=BOX_SEAMS, **words)


@pytest.fixture
def panels(make):
    """Two panels 100 x 80 mm that meet at a seam with a ridge of 40 degrees: 2 pieces, 1 joint."""
    return lambda **words: make(*PANELS, seams=[(1, 4)], **words)


@pytest.fixture
def dome(make):
    """A dome that is too round to lie flat in one piece."""
    return lambda **words: make(*shapes.dome(), **words)


@pytest.fixture
def everything():
    """What is in the file, to compare before and after: everything() == earlier."""

    def everything():
        kinds = ("scenes", "objects", "meshes", "collections", "curves", "materials", "images", "worlds", "cameras")
        state = {kind: sorted(block.name_full for block in getattr(bpy.data, kind)) for kind in kinds}
        for obj in bpy.data.objects:
            own = obj.foamwright
            state["object", obj.name] = (
                [tuple(row) for row in obj.matrix_world],
                obj.mode,
                obj.select_get(),
                len(own.pieces),
                len(own.findings),
                own.results and own.results.name,
            )
        for mesh in bpy.data.meshes:
            state["mesh", mesh.name] = (
                [str(tuple(v.co)) for v in mesh.vertices],
                [(tuple(e.vertices), e.use_seam, e.use_edge_sharp, e.select) for e in mesh.edges],
                [(tuple(f.vertices), f.select) for f in mesh.polygons],
                sorted(attribute.name for attribute in mesh.attributes),
            )
        return state

    return everything


@pytest.fixture
def folder(tmp_path) -> Path:
    return tmp_path / "out"

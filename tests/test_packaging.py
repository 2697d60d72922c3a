"""The build script's own rules, and that the metadata of the project is complete."""

import re
import sys
import tomllib
import zipfile
from pathlib import Path

import build
import demo
import environment
import pytest
import wheelhouse
from packaging.specifiers import SpecifierSet

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize(
    ("filename", "platform", "python", "fits"),
    [
        ("scipy-1.15.3-cp311-cp311-manylinux_2_17_x86_64.manylinux2014_x86_64.whl", "linux-x64", "311", True),
        ("scipy-1.15.3-cp311-cp311-manylinux_2_17_x86_64.manylinux2014_x86_64.whl", "linux-x64", "313", False),
        ("scipy-1.15.3-cp311-cp311-manylinux_2_17_x86_64.manylinux2014_x86_64.whl", "windows-x64", "311", False),
        ("scipy-1.15.3-cp311-cp311-musllinux_1_2_x86_64.whl", "linux-x64", "311", False),
        ("scipy-1.17.1-cp313-cp313-macosx_14_0_arm64.whl", "macos-arm64", "313", False),
        ("scipy-1.17.1-cp313-cp313t-macosx_12_0_arm64.whl", "macos-arm64", "313", False),
        ("fonttools-4.68.0-cp311-cp311-macosx_10_9_universal2.whl", "macos-arm64", "311", True),
        ("fonttools-4.68.0-cp311-cp311-macosx_10_9_universal2.whl", "macos-x64", "311", True),
        ("spyrrow-0.9.0-cp310-abi3-win_amd64.whl", "windows-x64", "313", True),
        ("spyrrow-0.9.0-cp312-abi3-win_amd64.whl", "windows-x64", "311", False),
        ("reportlab-5.1.0-py3-none-any.whl", "macos-x64", "311", True),
    ],
)
def test_a_wheel_is_taken_only_where_its_tags_fit(filename, platform, python, fits):
    assert wheelhouse.wheel_fits(filename, platform, python) is fits


@pytest.mark.parametrize("limits", ["", "<2.5,>=1.23.5", ">=1.26.4,<2.7", ">=2", "!=1.24.3", "<=2.2.0", ">1.26.4"])
@pytest.mark.parametrize("version", ["1.24.3", "1.26.4", "2.2.0", "2.5.0", "2.6.1"])
def test_limits_on_numpy_are_read_as_packaging_reads_them(limits, version):
    assert wheelhouse.numpy_accepted(f"numpy{limits}", version) == (version in SpecifierSet(limits))


def wheel_file(folder, name, *requirements):
    path = folder / f"{name}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        lines = ["Metadata-Version: 2.1", f"Name: {name}", *(f"Requires-Dist: {text}" for text in requirements)]
        archive.writestr(f"{name}.dist-info/METADATA", "\n".join(lines) + "\n\nwords")
    return path


def fill_with_all_wheels(folder, platform):
    for python, releases in wheelhouse.PYTHONS.items():
        for name, version in {**releases, **wheelhouse.FOR_EVERY_PYTHON}.items():
            made = wheel_file(folder, f"{name.replace('-', '_')}-{version}", "numpy>=1.23", 'pytest; extra == "test"')
            tag = f"cp{python}-cp{python}-{wheelhouse.PLATFORMS[platform][0]}"
            made.rename(folder / made.name.replace("py3-none-any", tag))


@pytest.fixture
def offline(monkeypatch):
    """No network: what is not in the folder is nowhere."""
    monkeypatch.setattr(wheelhouse, "_fetch", lambda *_: None)


@pytest.mark.usefixtures("offline")
def test_a_missing_wheel_stops_the_build_but_a_replaceable_one_does_not(tmp_path, capsys):
    fill_with_all_wheels(tmp_path, "windows-x64")
    complete = wheelhouse.collect_wheels("windows-x64", tmp_path)
    assert len(complete) == 2 * (2 + len(wheelhouse.FOR_EVERY_PYTHON))
    next(tmp_path.glob("spyrrow-*-cp313-*")).unlink()
    assert len(wheelhouse.collect_wheels("windows-x64", tmp_path)) == len(complete) - 1
    assert "spyrrow" in capsys.readouterr().out
    next(tmp_path.glob("shapely-*-cp313-*")).unlink()
    with pytest.raises(SystemExit, match="needs its wheel"):
        wheelhouse.collect_wheels("windows-x64", tmp_path)
    assert "shapely 2.2.0" in capsys.readouterr().out


@pytest.mark.usefixtures("offline")
def test_a_wheel_that_needs_what_is_not_carried_stops_the_build(tmp_path):
    fill_with_all_wheels(tmp_path, "linux-x64")
    ezdxf = next(tmp_path.glob("ezdxf-*-cp311-*"))
    wheel_file(tmp_path, "other", "a-new-need>=3").replace(ezdxf)
    with pytest.raises(SystemExit, match="a-new-need"):
        wheelhouse.collect_wheels("linux-x64", tmp_path)


@pytest.mark.usefixtures("offline")
def test_a_wheel_that_refuses_blenders_numpy_stops_the_build(tmp_path):
    fill_with_all_wheels(tmp_path, "linux-x64")
    scipy = next(tmp_path.glob("scipy-*-cp311-*"))
    wheel_file(tmp_path, "other", "numpy>=1.26.4,<2.7").replace(scipy)
    with pytest.raises(SystemExit, match="Blender's numpy"):
        wheelhouse.collect_wheels("linux-x64", tmp_path)


def test_wheels_and_platforms_enter_the_manifest_before_its_first_table():
    source = 'id = "foamwright"\nversion = "1.2.3"\n\n[permissions]\nfiles = "reason"\n'
    names = [Path("a-1-py3-none-any.whl"), Path("b-1-py3-none-any.whl")]
    read = tomllib.loads(build.manifest_with_wheels(source, "linux-x64", names))
    assert read == {
        "id": "foamwright",
        "version": "1.2.3",
        "platforms": ["linux-x64"],
        "wheels": ["./wheels/a-1-py3-none-any.whl", "./wheels/b-1-py3-none-any.whl"],
        "permissions": {"files": "reason"},
    }


def test_python_is_found_by_version_and_a_missing_one_is_no_error():
    running = "{}.{}".format(*sys.version_info[:2])
    assert environment.find_python(running) is not None
    assert environment.find_python("3.99") is None


def test_the_demo_hands_its_options_on_to_blender(tmp_path):
    mesh = tmp_path / "mask.obj"
    mesh.touch()
    options = demo.parse_options([str(mesh), "--thickness", "6", "--seams", "sharp", "--out", str(tmp_path / "cut")])
    assert demo.forwarded(options) == [
        *("--out", str((tmp_path / "cut").resolve()), "--path", str(mesh.resolve())),
        *("--thickness", "6.0", "--seams", "sharp"),
    ]
    assert "monkey" in demo.forwarded(demo.parse_options(["monkey"]))
    assert demo.forwarded(demo.parse_options(["monkey", "--layers"]))[-1] == "--layers"


@pytest.mark.parametrize(
    "arguments", [["no-such-file.obj"], ["--thickness", "6"], ["--layers"], ["monkey", "--seams", "dotted"]]
)
def test_the_demo_refuses_options_that_cannot_be_meant(arguments, capsys):
    with pytest.raises(SystemExit):
        demo.parse_options(arguments)
    assert "error:" in capsys.readouterr().err


def test_every_package_is_listed_and_the_version_is_one():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    folders = [p.parent.relative_to(ROOT) for half in ("core", "addon") for p in (ROOT / half).rglob("__init__.py")]
    packages = {".".join(("foamwright", *folder.parts)) for folder in folders}
    assert set(project["tool"]["setuptools"]["packages"]) == {"foamwright", *packages}
    assert manifest["version"] == project["project"]["version"]


def test_the_pictures_of_the_readme_are_there_and_small():
    named = re.findall(r"!\[.+?\]\((.+?)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert named
    for name in named:
        assert (ROOT / name).stat().st_size < 300_000


def test_the_changelog_tells_of_this_version():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert f"## {project['project']['version']}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_two_versions_of_blender_before_the_wall_are_refused_by_the_manifest():
    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    # earlier 4.2 releases unpack wheels of the wrong Python
    assert tuple(map(int, manifest["blender_version_min"].split("."))) >= (4, 2, 13)

"""Build the installable extension: one zip for each platform, with all the wheels it needs.

    python3 scripts/build.py                         every platform
    python3 scripts/build.py --platform linux-x64    one of them

Wheels are fetched once into `wheels/`, unmodified; the zips are made by Blender's own tool into `dist/`.
"""

from __future__ import annotations

import argparse
import os
import platform as machine
import shutil
import subprocess
from pathlib import Path

from environment import HOME, ROOT, environment, use_main_python
from wheelhouse import PLATFORMS, collect_wheels

WHEELS = ROOT / "wheels"
DIST = ROOT / "dist"
SHIPPED = ("__init__.py", "blender_manifest.toml", "LICENSE", "core", "addon")
BPY_45 = ("bpy==4.5.*", "pytest")
# every file in a zip gets this time, so that the same sources give the same zip
FILE_TIME = 315_619_200  # 2 January 1980, the first full day a zip can name in every time zone


def main() -> None:
    use_main_python()
    parser = argparse.ArgumentParser(description="Build the extension zips into dist/.")
    parser.add_argument("--platform", action="append", choices=PLATFORMS, help="only this one (may be repeated)")
    build(parser.parse_args().platform or list(PLATFORMS))


def build(platforms: list[str]) -> list[Path]:
    """Zips of these platforms, in their order; prints a table of sizes."""
    tool = _blender_tool()
    DIST.mkdir(exist_ok=True)
    zips = []
    for name in platforms:
        path = DIST / f"foamwright-{_version()}-{name.replace('-', '_')}.zip"
        # one staging folder a platform: the tool's own splitting would put the time of day into the zip
        staging = _stage(name, collect_wheels(name, WHEELS))
        _run(tool, "build", "--source-dir", staging, "--output-filepath", path)
        _run(tool, "validate", path)
        print(f"{path.name:<44}{path.stat().st_size / 1e6:8.1f} MB", flush=True)
        zips.append(path)
    return zips


def current_platform() -> str:
    """Blender's name for the platform this runs on."""
    system = {"Linux": "linux", "Windows": "windows", "Darwin": "macos"}.get(machine.system(), machine.system().lower())
    processor = machine.machine().lower()
    name = f"{system}-{ {'x86_64': 'x64', 'amd64': 'x64', 'aarch64': 'arm64'}.get(processor, processor) }"
    if name not in PLATFORMS:
        raise SystemExit(f"There is no Foamwright zip for {name}; there is one for each of: {', '.join(PLATFORMS)}.")
    return name


def _stage(platform: str, wheels: list[Path]) -> Path:
    """A clean folder with what ships and the manifest that lists the wheels."""
    staging = HOME / "staging"
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir(parents=True)
    for name in SHIPPED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, staging / name, ignore=shutil.ignore_patterns("__pycache__", "*.pyc", ".*"))
        else:
            shutil.copy(source, staging / name)
    (staging / "wheels").mkdir()
    for wheel in wheels:
        shutil.copy(wheel, staging / "wheels")
    manifest = staging / "blender_manifest.toml"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(manifest_with_wheels(text, platform, wheels), encoding="utf-8", newline="\n")
    for path in staging.rglob("*"):
        os.utime(path, (FILE_TIME, FILE_TIME))
    return staging


def manifest_with_wheels(manifest: str, platform: str, wheels: list[Path]) -> str:
    """The manifest text with its platform and its wheels set; they must come before the first table."""
    lines = manifest.splitlines()
    first_table = next((row for row, line in enumerate(lines) if line.startswith("[")), len(lines))
    listed = [f'  "./wheels/{wheel.name}",' for wheel in wheels]
    added = [f'platforms = ["{platform}"]', "wheels = [", *listed, "]", ""]
    return "\n".join(lines[:first_table] + added + lines[first_table:]) + "\n"


def _version() -> str:
    import tomllib

    return str(tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))["version"])


def _blender_tool() -> list[str]:
    """Blender's extension tool: of the blender on PATH, else the same code out of the bpy package."""
    blender = shutil.which("blender")
    if blender:
        return [blender, "--factory-startup", "--command", "extension"]
    python = environment("bpy-4.5", BPY_45)
    package = subprocess.run(
        [python, "-c", "import importlib.util as u; print(u.find_spec('bpy').submodule_search_locations[0])"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    return [str(python), str(next(Path(package).glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py")))]


def _run(tool: list[str], *arguments: str | Path) -> None:
    done = subprocess.run([*tool, *map(str, arguments)], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"Blender's extension tool refused to {arguments[0]}:\n{done.stdout}{done.stderr}")


if __name__ == "__main__":
    main()

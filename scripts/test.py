"""Run every check of the project, in environments of its own.

    python3 scripts/test.py                  everything
    python3 scripts/test.py --quick          lint, types and the tests of core on the newest packages
    python3 scripts/test.py --only bpy-4.5   one part (may be repeated)

FOAMWRIGHT_WINDOW may name a command that runs a Python script in a Blender with a window; then the
window tests run too.
"""

from __future__ import annotations

import argparse
import functools
import os
import shlex
import shutil
import subprocess
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from build import build, current_platform
from environment import HOME, ROOT, environment, find_python, use_main_python

RESULTS = HOME / "results"
# the seed makes property tests the same in every run; pytest without it looks for new cases
CORE_TESTS = ["-n", "auto", "tests", "--ignore=tests/blender", "--ignore=tests/window", "--hypothesis-seed=0"]
# ends without Python's own tidying up: the bpy of Blender 4.2 can crash in it
PYTEST = "import os, pytest, sys; code = int(pytest.main()); sys.stdout.flush(); os._exit(code)"
OLDEST = ("numpy==1.24.*", "scipy==1.15.3", "shapely==2.1.2")
# each with the numpy that this Blender ships, where its package leaves the choice open
BLENDERS = {
    "4.2": ("3.11", ("bpy==4.2.*", "numpy==1.24.*")),
    "4.5": ("3.11", ("bpy==4.5.*",)),
    "5.0": ("3.11", ("bpy==5.0.*",)),
    "5.2": ("3.13", ("bpy==5.2.*",)),
}


@dataclass
class Count:
    """How many tests of a part passed, failed and were left out; `log` is what the part printed."""

    passed: int = 0
    failed: int = 0
    skipped: int = 0
    log: str = ""


def main() -> int:
    use_main_python()
    parser = argparse.ArgumentParser(description="Run the checks and tests of the project.")
    parser.add_argument("--quick", action="store_true", help="only lint, types and core on the newest packages")
    parser.add_argument("--only", action="append", choices=PARTS, help="only this part (may be repeated)")
    options = parser.parse_args()
    names = options.only or (["lint", "types", "core-newest"] if options.quick else list(PARTS))
    shutil.rmtree(RESULTS, ignore_errors=True)
    RESULTS.mkdir(parents=True)
    total = Count()
    for name in names:
        started = time.perf_counter()
        count = PARTS[name]()
        if count.failed:
            print(count.log, flush=True)
        print(
            f"{name:<12}{count.passed:5d} passed {count.failed:4d} failed {count.skipped:4d} skipped"
            f"{time.perf_counter() - started:8.1f} s",
            flush=True,
        )
        total.passed += count.passed
        total.failed += count.failed
        total.skipped += count.skipped
    print(f"\n{total.passed} passed, {total.failed} failed, {total.skipped} skipped")
    return 1 if total.failed or not total.passed else 0


# --- parts -------------------------------------------------------------------------------------


def lint() -> Count:
    return _command([_plain_python(), "-m", "ruff", "check", "."])


def types() -> Count:
    """mypy over the package, and over the scripts that run outside Blender.

    Both are copied first: a checkout may be called anything, but the package has one name.
    """
    copy = HOME / "types"
    shutil.rmtree(copy, ignore_errors=True)
    for half in ("core", "addon"):
        shutil.copytree(ROOT / half, copy / "foamwright" / half, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "__init__.py", copy / "foamwright")
    mypy: list[str | Path] = [_plain_python(), "-m", "mypy", "--config-file", ROOT / "pyproject.toml"]
    package = _command([*mypy, "-p", "foamwright"], folder=copy)
    (copy / "scripts").mkdir()
    for script in (ROOT / "scripts").glob("*.py"):
        if "import bpy" not in script.read_text(encoding="utf-8"):
            shutil.copy(script, copy / "scripts")
    scripts = _command([*mypy, "."], folder=copy / "scripts")
    return Count(package.passed + scripts.passed, package.failed + scripts.failed, log=package.log + scripts.log)


def core_newest() -> Count:
    return _pytest(_plain_python(), "core-newest", CORE_TESTS)


def core_oldest() -> Count:
    python = environment("core-oldest", (*OLDEST, *_extras("test")), with_foamwright=True)
    return _pytest(python, "core-oldest", CORE_TESTS)


def core_python_313() -> Count:
    if find_python("3.13") is None:
        return _left_out("core-3.13", "no Python 3.13 on this machine")
    python = environment("core-3.13", _extras("test"), python="3.13", with_foamwright=True)
    return _pytest(python, "core-3.13", CORE_TESTS)


def zip_builds() -> Count:
    try:
        _zip()
    except SystemExit as refusal:
        return Count(failed=1, log=str(refusal))
    return Count(passed=1)


def in_blender(version: str) -> Count:
    """Install the zip in this bpy and run tests/blender there; nothing else of ours is on its path."""
    name = f"bpy-{version}"
    python_version, packages = BLENDERS[version]
    if find_python(python_version) is None:
        return _left_out(name, f"no Python {python_version} on this machine")
    python = environment(name, (*packages, "pytest"), python=python_version)
    with tempfile.TemporaryDirectory(prefix="foamwright-") as user:
        settings = {"BLENDER_USER_RESOURCES": user, "FOAMWRIGHT_ZIP": str(_zip())}
        return _pytest(python, name, ["tests/blender", "--confcutdir=tests/blender"], settings)


def window() -> Count:
    command = os.environ.get("FOAMWRIGHT_WINDOW")
    if not command:
        return _left_out("window", "FOAMWRIGHT_WINDOW names no command that opens a Blender window")
    scripts = sorted((ROOT / "tests" / "window").glob("drive_*.py"))
    runs = [_command([*shlex.split(command), script], settings={"FOAMWRIGHT_ZIP": str(_zip())}) for script in scripts]
    return Count(sum(run.passed for run in runs), sum(run.failed for run in runs), log="".join(run.log for run in runs))


PARTS: dict[str, Callable[[], Count]] = {
    "lint": lint,
    "types": types,
    "core-newest": core_newest,
    "core-oldest": core_oldest,
    "core-3.13": core_python_313,
    "zip": zip_builds,
    **{f"bpy-{version}": functools.partial(in_blender, version) for version in BLENDERS},
    "window": window,
}


# --- helpers -----------------------------------------------------------------------------------


def _extras(name: str) -> tuple[str, ...]:
    """The packages that pyproject.toml names for this purpose."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return tuple(project["optional-dependencies"][name])


def _plain_python() -> Path:
    return environment("core-newest", (*_extras("test"), *_extras("lint")), with_foamwright=True)


@functools.cache
def _zip() -> Path:
    return build([current_platform()])[0]


def _left_out(name: str, reason: str) -> Count:
    print(f"{name}: left out, {reason}", flush=True)
    return Count(skipped=1)


def _command(command: Sequence[str | Path], folder: Path = ROOT, settings: dict[str, str] | None = None) -> Count:
    """One test that passes if the command ends well."""
    done = _run(command, folder, settings)
    failed = done.returncode != 0
    return Count(passed=int(not failed), failed=int(failed), log=done.stdout + done.stderr)


def _pytest(python: Path, name: str, arguments: list[str], settings: dict[str, str] | None = None) -> Count:
    """Run pytest and count from its own report; a run that breaks off or finds no test counts as failed."""
    report = RESULTS / f"{name}.xml"
    options = ["--tb=short", f"--junitxml={report}", "-p", "no:cacheprovider"]
    done = _run([python, "-c", PYTEST, *arguments, *options], ROOT, settings)
    log = done.stdout + done.stderr
    if not report.exists():
        return Count(failed=1, log=log)
    suite = next(ElementTree.parse(report).iter("testsuite"))
    tests, failures, errors, skipped = (int(suite.get(key, 0)) for key in ("tests", "failures", "errors", "skipped"))
    failed = max(failures + errors, int(done.returncode != 0))
    return Count(max(tests - failures - errors - skipped, 0), failed, skipped, log)


def _run(
    command: Sequence[str | Path], folder: Path, settings: dict[str, str] | None
) -> subprocess.CompletedProcess[str]:
    words = [str(part) for part in command]
    surroundings = {**os.environ, **(settings or {})}
    return subprocess.run(words, cwd=folder, env=surroundings, capture_output=True, text=True, check=False)


if __name__ == "__main__":
    raise SystemExit(main())

"""Private Python environments for the scripts, under `.foamwright/` in the checkout.

Runs on a plain Python with nothing installed. Every environment is made once and kept until what was
asked of it changes; pip's own configuration and cache are used as they are.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".foamwright"
MAIN_PYTHON = "3.11"

_ASK_VERSION = "import sys; print('%d.%d' % sys.version_info[:2], sys.executable, sep='\\n')"
_GET_PYTHON = f"""\
These scripts need Python {MAIN_PYTHON}, because Blender's `bpy` package is built for it; this is Python {{running}}.
Install Python {MAIN_PYTHON} beside it, then run the same command again:
  Windows        winget install Python.Python.{MAIN_PYTHON}
  macOS          brew install python@{MAIN_PYTHON}
  Debian, Ubuntu apt install python{MAIN_PYTHON} python{MAIN_PYTHON}-venv (or pyenv install {MAIN_PYTHON})
  Fedora         dnf install python{MAIN_PYTHON}"""


def use_main_python() -> None:
    """Start the running script again on Python 3.11 if it is on another one; explain and exit if there is none."""
    running = "{}.{}".format(*sys.version_info[:2])
    if running == MAIN_PYTHON:
        return
    python = find_python(MAIN_PYTHON)
    if python is None:
        raise SystemExit(_GET_PYTHON.format(running=running))
    # a child instead of exec: on Windows exec would hand the terminal back before the work is done
    raise SystemExit(subprocess.run([python, *sys.argv], check=False).returncode)


def find_python(version: str) -> str | None:
    """The path of a Python of this minor version ("3.13") on this machine, or None."""
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    commands = [[sys.executable], [f"python{version}"], ["py", f"-{version}"], ["python3"], ["python"]]
    commands += [[str(path)] for path in sorted(pyenv.glob(f"{version}*/bin/python{version}"))]
    for command in commands:
        if shutil.which(command[0]) is None:
            continue
        answer = subprocess.run([*command, "-c", _ASK_VERSION], capture_output=True, text=True, check=False)
        if answer.returncode == 0 and answer.stdout.splitlines()[0] == version:
            return answer.stdout.splitlines()[1]
    return None


def environment(
    name: str, packages: tuple[str, ...] = (), python: str = MAIN_PYTHON, with_foamwright: bool = False
) -> Path:
    """The Python of the environment `name`, made anew if it was not made from these very packages.

    packages : pip requirements; with_foamwright : also install this checkout, editable
    """
    folder = HOME / name
    interpreter = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp_file = folder / "made-from.txt"
    stamp = _stamp(packages, python, with_foamwright)
    if interpreter.exists() and stamp_file.exists() and stamp_file.read_text() == stamp:
        return interpreter
    base = find_python(python)
    if base is None:
        raise SystemExit(f"The environment '{name}' needs Python {python}, which was not found on this machine.")
    started = time.perf_counter()
    shutil.rmtree(folder, ignore_errors=True)
    print(f"[{name}] making an environment with {base}", flush=True)
    _run_or_exit(
        [base, "-m", "venv", str(folder)],
        f"Python {python} could not make the environment '{name}'. On Debian and Ubuntu its venv module is a "
        f"package of its own: apt install python{python}-venv",
    )
    wanted = [*packages, *(["--editable", str(ROOT)] if with_foamwright else [])]
    if wanted:
        print(f"[{name}] installing {' '.join(packages) or 'Foamwright'}", flush=True)
        _run_or_exit(
            [str(interpreter), "-m", "pip", "install", "-qq", "--disable-pip-version-check", *wanted],
            f"pip could not install the packages of the environment '{name}'; its own words stand above. "
            "Check the network and the free space on the disk, then run the same command again.",
        )
    stamp_file.write_text(stamp)
    print(f"[{name}] ready after {time.perf_counter() - started:.0f} s", flush=True)
    return interpreter


def _stamp(packages: tuple[str, ...], python: str, with_foamwright: bool) -> str:
    asked = [packages, python, str(ROOT), _what_installing_reads() if with_foamwright else None]
    return hashlib.sha256(json.dumps(asked).encode()).hexdigest()


def _what_installing_reads() -> list[object]:
    """The parts of pyproject.toml that an editable install depends on; the settings of tools are not."""
    import tomllib  # here, because this module must load on Pythons that do not have it

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return [project["build-system"], project["project"], project["tool"]["setuptools"]]


def _run_or_exit(command: list[str], message: str) -> None:
    if subprocess.run(command, check=False).returncode != 0:
        raise SystemExit(message)

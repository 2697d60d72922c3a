"""The wheels that the extension carries: which releases, for which platform and Python, and a check of them."""

from __future__ import annotations

import re
import subprocess
import zipfile
from email.parser import Parser
from pathlib import Path

from environment import environment

# Blender 4.2 to 5.0 run Python 3.11 with numpy 1.24 to 1.26; from 5.1 on Python 3.13 with numpy 2.
# scipy 1.15 and shapely 2.1 are the last to take numpy 1.24.
PYTHONS = {
    "311": {"scipy": "1.15.3", "shapely": "2.1.2"},
    "313": {"scipy": "1.17.1", "shapely": "2.2.0"},
}
NUMPY_IN_BLENDER = {"311": ("1.24.3", "1.26.4"), "313": ("2.2.0", "2.5.0")}
FOR_EVERY_PYTHON = {
    "spyrrow": "0.9.0",
    "reportlab": "5.1.0",
    "ezdxf": "1.4.5",
    "pillow": "13.0.0",
    "charset-normalizer": "3.5.3",
    "fonttools": "4.68.0",
    "pyparsing": "3.3.3",
    "typing-extensions": "4.16.0",
}
# the nester has a plain fallback, so a platform without a wheel of this one may still be built
REPLACEABLE = ("spyrrow",)

_GLIBC = ("2_28", "2_27", "2_24", "2_17", "2_12", "2_5")
_MACOS = ("12_0", "11_0", "10_15", "10_14", "10_13", "10_12", "10_10", "10_9")
PLATFORMS = {
    "linux-x64": (*(f"manylinux_{v}_x86_64" for v in _GLIBC), "manylinux2014_x86_64"),
    "windows-x64": ("win_amd64",),
    "macos-arm64": (*(f"macosx_{v}_arm64" for v in _MACOS[:2]), *(f"macosx_{v}_universal2" for v in _MACOS)),
    "macos-x64": (*(f"macosx_{v}_x86_64" for v in _MACOS), *(f"macosx_{v}_universal2" for v in _MACOS)),
}


def collect_wheels(platform: str, folder: Path) -> list[Path]:
    """The wheels of a platform for every Python, sorted; fetches into `folder` what is not there yet.

    Exits with a table where a wheel is missing that has no fallback, where a wheel needs a package that is
    not carried, and where a wheel refuses the numpy of a Blender.
    """
    folder.mkdir(exist_ok=True)
    chosen: set[Path] = set()
    missing: list[tuple[str, str, str]] = []
    for python, releases in PYTHONS.items():
        for name, version in {**releases, **FOR_EVERY_PYTHON}.items():
            wheel = _wheel_in(folder, name, version, platform, python)
            wheel = wheel or _fetch(folder, name, version, platform, python)
            if wheel is None:
                missing.append((f"{name} {version}", platform, python))
            else:
                chosen.add(wheel)
    _refuse_gaps(missing)
    for wheel in sorted(chosen):
        _refuse_unmet_requirements(wheel)
    return sorted(chosen)


def wheel_fits(filename: str, platform: str, python: str) -> bool:
    """True if a wheel of this file name can be installed there (PEP 425 tags)."""
    pythons, abis, platforms = (tag.split(".") for tag in filename.removesuffix(".whl").split("-")[-3:])
    if "abi3" in abis:
        right_python = any(int(tag[3:] or 0) <= int(python[1:]) for tag in pythons if tag.startswith("cp3"))
    else:
        right_python = "py3" in pythons or (f"cp{python}" in pythons and f"cp{python}" in abis)
    return right_python and bool({"any", *PLATFORMS[platform]} & set(platforms))


def numpy_accepted(requirement: str, version: str) -> bool:
    """True if a requirement as "numpy<2.5,>=1.23.5" takes this numpy release."""
    has = _release(version)
    tests = {
        ">=": lambda bound: has >= bound,
        "<=": lambda bound: has <= bound,
        "<": lambda bound: has < bound,
        ">": lambda bound: has > bound,
        "!=": lambda bound: has != bound,
    }
    bounds = re.findall(r"([<>=!~]=?)\s*([\d.]+)", requirement.split(";")[0])
    return all(tests[sign](_release(bound)) for sign, bound in bounds)


def _release(version: str) -> tuple[int, int, int]:
    major, minor, patch, *_ = [*(int(part) for part in version.strip(".").split(".")), 0, 0]
    return major, minor, patch


def _wheel_in(folder: Path, name: str, version: str, platform: str, python: str) -> Path | None:
    stem = f"{name.replace('-', '_')}-{version}-"
    fitting = [p for p in folder.glob(f"{stem}*.whl") if wheel_fits(p.name, platform, python)]
    return min(fitting, default=None)


def _fetch(folder: Path, name: str, version: str, platform: str, python: str) -> Path | None:
    print(f"[wheels] {name} {version} for {platform}, Python 3.{python[1:]}", flush=True)
    tags = [part for tag in PLATFORMS[platform] for part in ("--platform", tag)]
    pip = [str(environment("tools")), "-m", "pip", "download", "-qq", "--disable-pip-version-check"]
    target = ["--only-binary=:all:", "--no-deps", "--implementation", "cp", "--python-version", python, *tags]
    subprocess.run([*pip, *target, "--dest", str(folder), f"{name}=={version}"], check=False)
    return _wheel_in(folder, name, version, platform, python)


def _refuse_gaps(missing: list[tuple[str, str, str]]) -> None:
    grave = [row for row in missing if row[0].split()[0] not in REPLACEABLE]
    for package, platform, python in missing:
        print(f"[wheels] no wheel: {package:<28}{platform:<14}Python 3.{python[1:]}", flush=True)
    if grave:
        raise SystemExit("Every platform and Python above needs its wheel: choose other releases in wheelhouse.py.")


def _refuse_unmet_requirements(wheel: Path) -> None:
    for requirement in requirements_of(wheel):
        name = re.split(r"[^\w.-]", requirement)[0].lower().replace("_", "-")
        if name == "numpy":
            for python, versions in NUMPY_IN_BLENDER.items():
                if f"cp{python}" in wheel.name and not all(numpy_accepted(requirement, v) for v in versions):
                    raise SystemExit(f"{wheel.name} wants {requirement}, but Blender's numpy there is {versions}.")
        elif name not in {**PYTHONS["311"], **FOR_EVERY_PYTHON}:
            raise SystemExit(f"{wheel.name} needs {requirement}, which no wheel brings: add it in wheelhouse.py.")


def requirements_of(wheel: Path) -> list[str]:
    """What a wheel always needs, from its own metadata; optional extras are left out."""
    with zipfile.ZipFile(wheel) as archive:
        path = next(name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        headers = Parser().parsestr(archive.read(path).decode("utf-8"), headersonly=True)
    return [line for line in headers.get_all("Requires-Dist", []) if "extra ==" not in line]

"""ezdxf, imported apart from the machine it runs on: nothing of the user's is read, and nothing is left there.

On import ezdxf reads settings from the user's folder, from the working folder and from where the environment says,
and keeps a list of the system's fonts in the user's cache. A stray or broken file there would change a drawing or
stop it; and no drawing measures its words.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from configparser import ConfigParser
from contextlib import contextmanager
from pathlib import Path

NO_FONTS = str(Path(__file__).with_name("no_fonts"))
"""Stands in for the user's folders: it holds an empty list of fonts as ezdxf keeps it, and no settings."""


@contextmanager
def _apart() -> Iterator[None]:
    read, environment = ConfigParser.read, dict(os.environ)
    # the type of a method is not to be changed; this one is put back before anybody else can ask for it
    ConfigParser.read = lambda *_what, **_how: []  # type: ignore[method-assign]
    for name in environment:
        if name.startswith("EZDXF"):
            del os.environ[name]
    os.environ["XDG_CACHE_HOME"] = os.environ["XDG_CONFIG_HOME"] = NO_FONTS
    try:
        yield
    finally:
        ConfigParser.read = read  # type: ignore[method-assign]
        for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
            del os.environ[name]
        os.environ.update(environment)


with _apart():
    from ezdxf import new, options
    from ezdxf.document import Drawing
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.layouts import Modelspace

__all__ = ["Drawing", "Modelspace", "TextEntityAlignment", "new", "options"]

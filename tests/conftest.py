"""Lets tests import their shared helpers by name, and takes hypothesis off the clock."""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile("foamwright", deadline=None, max_examples=25)
settings.load_profile("foamwright")

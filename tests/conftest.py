"""What holds for every test: a part of a report that fails stops its notebook."""

import os

from airstats.screen import STRICT

os.environ[STRICT] = "1"

"""Lets the tests of figures import their samples by name."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

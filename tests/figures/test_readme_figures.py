import re
from pathlib import Path

import pytest

from tests.figures import readme

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.once
def test_every_figure_of_the_readme_is_made_by_the_script():
    """A picture nobody can draw again is out of date the day after."""
    shown = set(re.findall(r"data/figures/([\w-]+)\.png", (ROOT / "README.md").read_text(encoding="utf-8")))
    stored = {path.stem for path in (ROOT / "data" / "figures").glob("*.png")}
    drawn = set(readme.draw())
    assert shown <= drawn
    assert stored == drawn

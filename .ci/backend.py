"""The build backend: setuptools, which also puts the demo of ``data/`` into the wheel, as ``pdm_alloc/demo``.

The demo is kept once, in ``data/``. Run from the repository, the package reads it there.
"""

import shutil
from pathlib import Path

from setuptools import build_meta
from setuptools.build_meta import *  # noqa: F403
from setuptools.command import build_py as command

_DEMO = ("catalogue", "expedition_truck", "rally_coupe")
_DATA = Path(__file__).resolve().parents[1] / "data"


class _WithDemo(command.build_py):
    def run(self):
        super().run()
        if self.editable_mode:
            return
        demo = Path(self.build_lib) / "pdm_alloc" / "demo"
        shutil.rmtree(demo, ignore_errors=True)
        for name in _DEMO:
            shutil.copytree(_DATA / name, demo / name)


def build_wheel(wheel_directory, config_settings=None, metadata_directory=None):
    """Build a wheel with the demo in it."""
    plain, command.build_py = command.build_py, _WithDemo
    try:
        return build_meta.build_wheel(wheel_directory, config_settings, metadata_directory)
    finally:
        command.build_py = plain

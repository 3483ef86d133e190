"""Accessibility rules of axe-core, which npm fetches for the tests; it is no part of the project."""

import json
import shutil
import subprocess
import tarfile

import pytest

__all__ = ["GRAVE", "check", "script"]

AXE = "axe-core@4.14.1"
GRAVE = ("serious", "critical")

# Rules of WCAG 2.1, levels A and AA.
_CHECK = """async (part) => {
  const result = await axe.run(part, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']});
  const nodes = (rule) => rule.nodes.slice(0, 5).map((node) => node.html.slice(0, 200));
  const told = (rule) => ({id: rule.id, impact: rule.impact, help: rule.help, nodes: nodes(rule)});
  return {passes: result.passes.length, violations: result.violations.map(told)};
}"""


def script(cache) -> str:
    """Its script; kept between runs, the test is skipped with the reason where npm cannot bring it."""
    folder = cache.mkdir(AXE.replace("@", "_"))
    file = folder / "axe.min.js"
    if not file.exists():
        file.write_bytes(_fetched(folder))
    return file.read_text("utf-8")


def _fetched(folder) -> bytes:
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("axe-core is fetched with npm, and there is no npm")
    command = [npm, "pack", AXE, "--pack-destination", str(folder), "--json"]
    try:
        told = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True, cwd=folder).stdout
    except (subprocess.SubprocessError, OSError) as problem:
        pytest.skip(f"npm does not bring {AXE}: {problem}")
    with tarfile.open(folder / json.loads(told)[0]["filename"]) as archive:
        return archive.extractfile("package/axe.min.js").read()


def check(part, text: str) -> dict:
    """Number of rules passed and the violations in a part of a page (a locator)."""
    part.page.evaluate("text => { window.axe || (0, eval)(text); }", text)
    return part.evaluate(_CHECK)

"""Accessibility rules of axe-core, which npm fetches for the tests; it is no part of the project."""

import json
import shutil
import subprocess
import tarfile

import pytest

__all__ = ["GRAVE", "check", "script"]

AXE = "axe-core@4.14.1"
GRAVE = ("serious", "critical")

_RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa")  # of WCAG 2.1, levels A and AA

# All pages of tabs are shown at once, in full: axe-core walks the whole document each time it is asked, and what is
# beyond an edge has no contrast.
_CHECK = """async (part, rules) => {
  const pages = [...part.querySelectorAll('.pdm-pages > *')];
  const hidden = pages.filter((page) => page.style.display === 'none');
  const whole = document.createElement('style');
  whole.textContent = '.pdm-panel .pdm-work { display: block } .pdm-work, .pdm-tabs, .pdm-pages, .pdm-pages > * '
    + '{ overflow: visible !important; height: auto !important; max-height: none !important; flex: none !important }';
  document.head.append(whole);
  hidden.forEach((page) => { page.style.display = ''; });
  for (let e = part; e; e = e.parentElement) e.scrollTop = 0;  // what is scrolled away above counts as hidden
  try {
    const result = await axe.run(part, {runOnly: rules, elementRef: true});
    const nodes = (rule) => rule.nodes.slice(0, 5).map((node) => node.html.slice(0, 200));
    const told = (rule) => ({id: rule.id, impact: rule.impact, help: rule.help, nodes: nodes(rule)});
    const read = result.passes.filter((rule) => rule.id === 'color-contrast').flatMap((rule) => rule.nodes)
      .filter((node) => node.any.some((check) => check.data?.contrastRatio));
    const among = (page) => read.filter((node) => page.contains(node.element)).length;
    const contrasts = (pages.length ? pages : [part]).map(among);
    return {passes: result.passes.length, contrasts, violations: result.violations.map(told)};
  } finally {
    hidden.forEach((page) => { page.style.display = 'none'; });
    whole.remove();
  }
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
    """Rules passed, texts of good contrast on each page of its tabs, and the violations, in a part of a page."""
    part.page.evaluate("text => { window.axe || (0, eval)(text); }", text)
    return part.evaluate(_CHECK, list(_RULES))

"""Channels: what is on each, and how much headroom it has."""

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.panel.views.bar import bar
from pdm_alloc.panel.views.markup import Html, amount, plural, section, table, tag
from pdm_alloc.panel.views.rows import rows_of

__all__ = ["channels"]

_HEADINGS = ("channel", "pins", "command", "loads", "running ", "of ", "used of the limit", "headroom ")


def channels(allocation: Allocation) -> Html:
    """A row a circuit: where it is, what is on it, its running current and inrush against what the channel bears.

    Parameters
    ----------
    allocation : Allocation
        Of one module.

    Returns
    -------
    Html
    """
    wanted = float(allocation.vehicle.settings.headroom_pct)
    rows = [_row(row, wanted) for row in rows_of(allocation.channels)]
    legend = tag("p", _legend(wanted), "pdm-legend")
    body = table(_HEADINGS, rows, "pdm-channels", "what is on each channel")
    return section("Channels", [legend, body, _spare(allocation)])


def _legend(wanted: float) -> list[Html]:
    keys = [("use", "running current of the channel's limit"), ("inrush", "inrush of what the channel lets pass")]
    marks = [Html(f'<svg class="pdm-key" width="14" height="10"><rect class="pdm-{c}" width="14" height="10"/></svg>')
             for c, _ in keys]  # fmt: skip
    words = [tag("span", [mark, " ", text], "pdm-item") for mark, (_, text) in zip(marks, keys, strict=True)]
    return [*words, tag("span", f"dotted line: {wanted:g} % headroom begins", "pdm-item")]


def _row(row, wanted: float) -> list[object]:
    use = 100 - row.headroom_pct
    label = f"running {use:.0f} % of the limit, inrush {row.inrush_use_pct:.0f} % of what passes"
    return [
        tag("strong", row.channel),
        tag("span", row.pins, "pdm-amount"),
        row.command,
        row.loads,
        amount(row.running_a, "A"),
        amount(row.limit_a, "A"),
        bar(use, 100 - wanted, row.inrush_use_pct, label),
        f"{row.headroom_pct:.0f} %",
    ]


def _spare(allocation: Allocation) -> Html:
    free = [f"{row.channel} ({amount(row.continuous_a, 'A')})" for row in rows_of(allocation.spare)]
    words = f"{plural(len(free), 'channel')} free: {', '.join(free)}" if free else "no channel is free"
    return tag("p", words, "pdm-legend")

"""A bar as a small picture: how far a limit is used, where the wanted headroom begins, hatched where it is passed."""

from html import escape

from pdm_alloc.panel.views.markup import Html

__all__ = ["bar"]

_HEIGHT = 16
_FULL = 110  # where 100 % is, unless told otherwise
_MOST = 150  # per cent of that: room to show how far a limit is passed


def bar(
    use_pct: float, tick_pct: float | None = None, thin_pct: float | None = None, label: str = "", full: int = _FULL
) -> Html:
    """A bar of what is used of a limit.

    Parameters
    ----------
    use_pct : float
        Share of the limit in use, per cent; beyond 100 the bar is hatched.
    tick_pct : float, optional
        Where a tick stands, per cent.
    thin_pct : float, optional
        A second, thin bar below, per cent.
    label : str
        The same in words, for screen readers and the pointer.
    full : int
        Width of 100 %, pixels.

    Returns
    -------
    Html
        An SVG element.
    """
    tall = 9 if thin_pct is not None else 12
    shares = [(use_pct, 2, tall, "use"), *([(thin_pct, 12, 3, "inrush")] if thin_pct is not None else [])]
    parts = [f'<rect class="pdm-free" x="0" y="2" width="{full}" height="{tall}"/>']
    parts += [piece for pct, y, height, css in shares for piece in _filled(pct, y, height, css, full)]
    parts += [_line(tick_pct, "pdm-tick", full)] if tick_pct is not None else []
    parts.append(_line(100, "pdm-limit", full))
    width = round(_at(max(100, min(_MOST, max(pct for pct, *_ in shares))), full)) + 2
    head = f'<svg class="pdm-bar" role="img" width="{width}" height="{_HEIGHT}" viewBox="0 0 {width} {_HEIGHT}">'
    return Html(f"{head}<title>{escape(label)}</title>{''.join(parts)}</svg>")


def _filled(pct: float, y: int, height: int, css: str, full: int) -> list[str]:
    parts = [f'<rect class="pdm-{css}" x="0" y="{y}" width="{_at(min(pct, 100), full):.1f}" height="{height}"/>']
    if pct > 100:
        beyond = _at(min(pct, _MOST), full) - full
        parts.append(f'<rect class="pdm-over" x="{full}" y="{y}" width="{beyond:.1f}" height="{height}"/>')
    return parts


def _line(pct: float, css: str, full: int) -> str:
    x = _at(pct, full)
    return f'<line class="{css}" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{_HEIGHT}"/>'


def _at(pct: float, full: int) -> float:
    return max(0.0, pct) * full / 100

import pandas as pd
import pytest

from pdm_alloc.figures.limits import headroom
from pdm_alloc.figures.vehicle_plan import loads
from tests.figures import samples
from tests.figures.look import words


def _texts(axes):
    return [text for text, _ in words(axes)]


def _lengths(axes, left=0.0):
    return [bar.get_width() for bar in axes.patches if bar.get_x() == left]


def test_bars_of_headroom_are_running_over_limit_and_the_inrush_use():
    """The bar is the number: 2.2 A on a channel of 11 A is 20 per cent, and its inrush use is drawn as it stands."""
    table = samples.channels(1).assign(running_a=2.2, limit_a=11.0, inrush_use_pct=35.0)
    assert _lengths(headroom(table)) == pytest.approx([20.0, 35.0])


def test_what_passes_a_limit_is_hatched_from_the_limit_on():
    """A circuit above its limit must be seen at once, without colour."""
    table = samples.channels(2).assign(running_a=[13.2, 2.0], limit_a=[11.0, 11.0], inrush_use_pct=[50.0, 130.0])
    hatched = [bar for bar in headroom(table).patches if bar.get_hatch()]
    assert [(bar.get_x(), round(bar.get_width(), 6)) for bar in hatched] == [(100, 20), (100, 30)]


def test_headroom_names_channel_loads_and_amps():
    """The builder reads the channel number, the loads and the amps without a table beside the figure."""
    table = samples.channels(1).assign(channel="14+15", loads="window", running_a=6.51, limit_a=10.78)
    texts = _texts(headroom(table))
    assert {"14+15", "window", "6.51 of 10.8"} <= set(texts)


def test_wanted_headroom_comes_from_the_settings_of_the_vehicle():
    """The dashed line is at the headroom that was asked for, not at a number of the figure's own."""
    settings = samples.Result(headroom_pct=25)
    result = samples.Result(channels=samples.channels(3), vehicle=samples.Result(settings=settings))
    lines = [line.get_xdata()[0] for line in headroom(result).lines]
    assert lines == [100, 75.0]


def test_spare_channels_are_named_below():
    """What is free matters as much as what is used."""
    spare = pd.DataFrame([("m", "5", 3.5), ("m", "9", 11.0)], columns=["module", "channel", "continuous_a"])
    result = samples.Result(channels=samples.channels(3), spare=spare)
    assert "spare: 5 (3.5 A), 9 (11 A)" in _texts(headroom(result, wanted_pct=20))


def test_every_wire_ends_at_the_channel_of_its_load():
    """A line that ends one channel off is worse than no figure: ends are compared with the boxes, by name."""
    result = samples.allocation(12)
    axes = loads(result)
    boxes = {line.get_ydata()[0]: n for n, line in enumerate(axes.lines[-12:])}
    names = {round(y, 9): text for text, y in _left(axes)}
    got = {(names[round(line.get_ydata()[0], 9)][:30], boxes[line.get_ydata()[-1]]) for line in axes.lines[:-12]}
    rows = {key: n for n, key in enumerate(result.channels["channel"])}
    assert got == {(row.load[:30], rows[row.channel]) for row in result.assignments.itertuples()}


def _left(axes):
    return [(text.get_text(), text.xy[1]) for text in axes.texts if hasattr(text, "xy") and text.xy[0] == 0]


def test_loads_in_the_order_of_their_channels_do_not_cross():
    """Lines that do not cross can be followed with the finger."""
    result = samples.allocation(20)
    whole = result.assignments[result.assignments["load"] != "split load"].sample(frac=1, random_state=3)
    axes = loads(samples.Result(channels=result.channels, assignments=whole))
    ends = sorted((line.get_ydata()[0], line.get_ydata()[-1]) for line in axes.lines if len(line.get_ydata()) > 1)
    assert [end for _, end in ends] == sorted(end for _, end in ends)


@pytest.mark.parametrize("column", ["running_a", "limit_a", "inrush_use_pct", "loads"])
def test_a_missing_column_is_named(column):
    """A table from elsewhere may lack a column; the message names it."""
    with pytest.raises(ValueError, match=f"lacks the columns: {column}$"):
        headroom(samples.channels(3).drop(columns=column))

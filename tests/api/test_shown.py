"""How the objects show themselves, what `allocate` takes, and what an unknown name suggests."""

from dataclasses import replace
from html.parser import HTMLParser

import pytest

import pdm_alloc as pa
from tests.api.demo import allocation, car, catalogue
from tests.api.test_refusal import refused

NASTY = "<b onclick='x()'>&\"lamp\""


class Parsed(HTMLParser):
    """Tags in order, and the text between them."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        assert not attrs
        self.tags.append(tag)

    def handle_data(self, data):
        self.words.append(data)


def mounting():
    places = (pa.Place("dash", 0.0, 0.0, mount=True, ambient_c=40.0),)
    loads = tuple(replace(load, place="dash") for load in refused().vehicle.loads)
    vehicle = replace(refused().vehicle, places=places, loads=loads)
    module = replace(refused().units[0].module, price=10.0, mass_g=100.0)
    return pa.mount(vehicle, pa.Catalogue("c", (module,)), "price")


def shown():
    """Every object with a face, with what must be in its headline."""
    sizing = pa.size(car(), pa.Catalogue("one", (catalogue()["middle-36"],)))
    yield car(), "46 loads (55 items) on 28 commands, 7 operating states"
    yield catalogue(), "5 modules"
    yield catalogue()["large-50"], "50 channels"
    yield allocation(), "rally_coupe on middle-36: "
    yield sizing, "middle-36 is the smallest that is enough."
    yield mounting(), "two at dash and two at dash"
    yield refused(), "two is not enough"
    yield pa.explain(refused()), "1 more channel"


@pytest.mark.parametrize(("thing", "words"), list(shown()), ids=lambda value: type(value).__name__)
def test_objects_say_what_they_are(thing, words):
    """One screen at the most, as a person would say it; the notebook gets a headline and a table."""
    assert words in repr(thing)
    assert len(repr(thing)) <= 400 and repr(thing).count("\n") <= 3
    page = Parsed(thing._repr_html_())
    assert page.tags[:3] == ["div", "p", "strong"]
    assert words.split(" is the")[0] in page.words[0]
    assert "table" in page.tags or isinstance(thing, pa.NotEnough)


@pytest.mark.parametrize("thing", [pa.Unsolved("failed", "why"), pa.Unit("front", catalogue()["large-50"], "dash")])
def test_small_things_are_short_too(thing):
    """A tuple of them stays readable."""
    assert len(repr(thing)) < 80


def test_names_are_escaped():
    """A load's name is text, whatever stands in it."""
    vehicle = replace(car(), name=NASTY, loads=(replace(car().loads[0], name=NASTY, note=NASTY), *car().loads[1:]))
    html = vehicle._repr_html_()
    assert "<b" not in html and "&lt;b onclick=" in html
    assert NASTY in Parsed(html).words
    module = replace(catalogue()["compact-31"], name=NASTY, note=NASTY)
    for thing in (pa.Catalogue(NASTY, (module,)), module, pa.NotEnough(vehicle, [pa.Unit(NASTY, module)])):
        assert "<b" not in thing._repr_html_()


def test_many_rows_are_cut_short():
    """A vehicle of 46 loads fits on a screen, and says what is left out."""
    html = car()._repr_html_()
    assert html.count("<tr>") == 25 and "and 22 more" in html


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda: catalogue()["middel-36"], "no module 'middel-36': did you mean 'middle-36' or 'middle-42'?"),
        (lambda: car().load("hron"), "no load 'hron': did you mean 'horn'"),
        (lambda: car().command("hron"), "did you mean 'horn'"),
        (lambda: car().place("glovebox"), "did you mean 'glove box'?"),
        (lambda: catalogue()["large-50"].channel("490"), "no channel of large-50 '490'"),
        (lambda: pa.allocate(car(), catalogue()["large-50"], strategy="isolte"), "did you mean 'isolate'?"),
        (lambda: pa.size(car(), catalogue(), strategy="spair"), "did you mean 'spare'?"),
        (lambda: pa.mount(car(), catalogue(), "prise"), "did you mean 'price'?"),
        (lambda: pa.size(refused().vehicle, pa.Catalogue("c", ())).allocation("x"), "there is none"),
    ],
)
def test_an_unknown_name_suggests_its_neighbours(what, words):
    """A slip of the finger ends in a sentence with the name that was meant, and is a KeyError and a ValueError."""
    with pytest.raises(pa.UnknownName) as caught:
        what()
    assert words in str(caught.value)
    assert isinstance(caught.value, KeyError) and isinstance(caught.value, ValueError)


@pytest.mark.parametrize(
    ("modules", "words"),
    [
        (lambda: catalogue(), 'not a whole catalogue: take one from it by name, catalogue\\["name"\\]'),
        (lambda: "middle-36", "not 'middle-36': take it from a catalogue"),
        (lambda: None, "not None"),
        (lambda: [catalogue()["middle-36"], "middle-42"], "not 'middle-42' among them"),
        (list, "not none at all"),
    ],
)
def test_allocate_takes_modules_only(modules, words):
    """Anything else is a TypeError that says what to write."""
    with pytest.raises(TypeError, match=words):
        pa.allocate(car(), modules())


def test_a_module_a_unit_and_a_sequence_are_the_same():
    """Every form that is taken gives the same circuits."""
    one = catalogue()["middle-36"]
    for modules in (one, pa.Unit("middle-36", one), [one], (pa.Unit("middle-36", one),)):
        assert pa.allocate(car(), modules) == allocation()


@pytest.mark.parametrize("strategy", pa.STRATEGIES)
def test_one_strategy_everywhere(strategy):
    """`size` and `allocate` follow the vehicle's setting, so that one module has one figure."""
    vehicle = replace(car(), settings=replace(car().settings, strategy=strategy))
    one = catalogue()["middle-42"]
    study = pa.size(vehicle, pa.Catalogue("one", (one,)))
    assert study.allocation("middle-42") == pa.allocate(vehicle, one)
    assert study.allocation("middle-42").strategy == strategy

"""Every text a builder can type, hostile, through every writer: no formula, no markup, no code, and nothing lost."""

import csv
import datetime
import io
import json
import re
import warnings
import xml.etree.ElementTree as ElementTree
from contextlib import ExitStack
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import openpyxl
import pypdf
import pytest

import pdm_alloc as pa
from pdm_alloc.files.grids import unmarked
from pdm_alloc.files.write_tables import write_catalogue, write_vehicle
from tests.export.hostile import PAYLOADS, catalogue_tables, vehicle_tables, write
from tests.export.test_hostile_names import starts_formula

DATE = datetime.date(2026, 3, 1)
ACTIVE = {"script", "img", "a", "iframe", "object", "embed", "foreignobject", "link", "meta", "form", "input", "style"}
FIGURES = ("headroom", "loads", "drop", "states", "supply")


_FOLDERS = ExitStack()


@pytest.fixture(scope="module", autouse=True)
def folders_go():
    """What the cases wrote is deleted when the last of them has been looked at."""
    yield
    case.cache_clear()
    _FOLDERS.close()


@cache
def case(kind):
    """Read from files, allocated, changed, refused and written in every form."""
    bad, root = PAYLOADS[kind], Path(_FOLDERS.enter_context(TemporaryDirectory(prefix="hostile")))
    settings = f"name = {json.dumps(bad + 'van')}\nbattery_place = {json.dumps(bad + 'tail')}\nbattery_ah = 60\n"
    vehicle = pa.read_vehicle(write(root / "vehicle", vehicle_tables(bad), settings))
    catalogue = pa.read_catalogue(write(root / "catalogue", catalogue_tables(bad)))
    big = next(module for module in catalogue if len(module.channels) > 1)
    allocation = pa.allocate(vehicle, pa.Unit(big.name, big, vehicle.places[0].name))
    more = pa.what_if(vehicle).add(load=bad + "more", command=vehicle.commands[0].name, running_a=1, kind="led")
    later = more.allocate(allocation.units, keep=allocation)
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # the writer of workbooks warns of a header it takes for a picture
        pa.export.write_documents(allocation, root / "documents", date=DATE)
        pa.export.write_rework(allocation, later, root / "documents" / "rework", date=DATE)
    write_vehicle(vehicle, root / "documents" / "back")
    write_vehicle(vehicle, root / "documents" / "back.xlsx")
    write_catalogue(catalogue, root / "documents" / "modules")
    study = pa.size(vehicle, catalogue)
    return SimpleNamespace(**locals())


def files_of(kind, ending):
    files = sorted((case(kind).root / "documents").rglob(f"*{ending}"))
    assert files
    return files


def squeezed(text):
    """Without white space, which pages and drawings set their own way."""
    return "".join(text.split())


def name_of(kind):
    """A load's name as the tables were read."""
    return case(kind).vehicle.loads[0].name


@pytest.mark.parametrize("kind", PAYLOADS)
def test_csv(kind):
    """Whatever a spreadsheet takes for the separator, no cell of any file starts a formula; names come back."""
    cells = set()
    for file in files_of(kind, ".csv"):
        text = file.read_text(encoding="utf-8-sig")
        for separator in ",;\t":
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator):
                assert not any(starts_formula(cell) for cell in row), (file, row)
                cells |= set(map(unmarked, row))
    assert name_of(kind) in cells


@pytest.mark.parametrize("kind", PAYLOADS)
def test_workbooks(kind):
    """No cell is a formula or a link, and no header holds a code that a name brought."""
    for file in files_of(kind, ".xlsx"):
        book = openpyxl.load_workbook(file)
        cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
        assert not [cell for cell in cells if cell.data_type == "f" or cell.hyperlink], file
        assert file.parent.name == "rework" or any(name_of(kind) in str(cell.value) for cell in cells), file
        heads = [str(part.text or "") for s in book for part in (s.oddHeader.left, s.oddHeader.right)]
        assert not [head for head in heads if re.search("(?<!&)(&&)*&(?![&BLRCP])", head)], heads


@pytest.mark.parametrize("kind", PAYLOADS)
def test_drawings(kind):
    """SVG stays XML of lines and words."""
    for file in files_of(kind, ".svg"):
        check_markup([element_of(e) for e in ElementTree.parse(file).iter()])


def element_of(element):
    return re.sub(r"\{.*?\}", "", str(element.tag)), dict(element.attrib)


def check_markup(elements):
    for tag, attributes in elements:
        assert tag.lower() not in ACTIVE, tag
        for key, value in attributes.items():
            assert not re.sub(r"\{.*?\}", "", key).lower().startswith("on"), key
            assert "script:" not in (value or "")


@pytest.mark.once
@pytest.mark.parametrize("kind", PAYLOADS)
def test_pdf(kind):
    """No page holds a script, a link or a file, and names are there as letters."""
    for file in files_of(kind, ".pdf"):
        content = file.read_bytes()
        assert not re.search(rb"/(JavaScript|JS|Launch|URI|EmbeddedFile|SubmitForm)\b", content), file
    pages = pypdf.PdfReader(next(f for f in files_of(kind, ".pdf") if f.parent.name == "documents")).pages
    text = squeezed("".join(page.extract_text() for page in pages))
    assert squeezed(name_of(kind).lstrip("\uff1d")) in text  # which the font has not


@pytest.mark.parametrize("kind", PAYLOADS)
def test_json(kind):
    """The saved allocation is data, and comes back equal."""
    for file in files_of(kind, ".json"):
        json.loads(file.read_text(encoding="utf-8"))
    assert pa.export.read_allocation(case(kind).root / "documents") == case(kind).allocation


@pytest.mark.parametrize("kind", PAYLOADS)
def test_tables_read_back(kind):
    """Vehicle and catalogue, written in both forms, are the same when they are read."""
    here, folder = case(kind), case(kind).root / "documents"
    for back in (pa.read_vehicle(folder / "back"), pa.read_vehicle(folder / "back.xlsx")):
        assert (back.loads, back.places, back.parts) == (here.vehicle.loads, here.vehicle.places, here.vehicle.parts)
    assert pa.read_catalogue(folder / "modules").modules == here.catalogue.modules


class Elements(HTMLParser):
    """Every element of a piece of HTML as a browser sees it, and its words."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.words = [], ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.words += data


def check_html(text, wanted=""):
    page = Elements(text)
    known = [(tag, attributes) for tag, attributes in page.elements if not is_own_picture(tag, attributes)]
    check_markup(known)
    assert squeezed(wanted) in squeezed(page.words)


def is_own_picture(tag, attributes):
    return tag == "img" and attributes["src"].startswith("data:image/png;base64,")


@pytest.mark.parametrize("kind", PAYLOADS)
def test_html_of_objects(kind):
    """What objects show in a notebook."""
    here = case(kind)
    refusal = next(iter(here.study.refusals.values()))
    explanation = pa.explain(refusal)
    for thing in (here.vehicle, here.allocation, here.big, here.catalogue):
        check_html(thing._repr_html_())
    for thing in (here.study, refusal, explanation):
        check_html(thing._repr_html_())
    check_html(here.vehicle._repr_html_(), name_of(kind))


@pytest.mark.parametrize("kind", PAYLOADS)
def test_panel(kind):
    """Every section of the panel and the picture a saved notebook keeps."""
    pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")
    from pdm_alloc.panel.panel import Panel
    from pdm_alloc.panel.screen import static

    here = case(kind)
    panel = Panel(here.vehicle, here.catalogue, here.big.name)
    try:
        pieces = [panel._screen.head.value, *(section.value for section in panel._screen._sections.values())]
        for piece in pieces:
            check_html(piece)
        assert squeezed(name_of(kind)) in squeezed("".join(Elements(piece).words for piece in pieces))
        check_html(static(panel.answer, panel._screen.head.value))
    finally:
        panel._worker.overtake()


def test_the_load_table_makes_no_markup_of_text():
    """The script of the load table sets text as text: nothing in it turns a string into elements or code."""
    for script in (Path(pa.__file__).parent / "panel").glob("*.js"):
        content = script.read_text(encoding="utf-8")
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", content)


@pytest.mark.once
@pytest.mark.parametrize("kind", PAYLOADS)
def test_figures(kind):
    """A name is drawn as it is written, never set as mathematics or markup."""
    here = case(kind)
    for name in FIGURES:
        svg = getattr(pa.figures, name)(here.allocation).figure.svg()
        elements = [element_of(e) for e in ElementTree.fromstring(svg).iter()]
        check_markup([(tag, attributes) for tag, attributes in elements if tag != "style"])


@pytest.mark.parametrize("kind", PAYLOADS)
def test_the_terminal(kind, capsys):
    """The command line prints names, and none of them as a command to the terminal."""
    from pdm_alloc.cli import main

    here = case(kind)
    words = ["--catalogue", str(here.root / "catalogue")]
    assert main(["check", str(here.root / "vehicle"), *words]) == 0
    assert main(["allocate", str(here.root / "vehicle"), *words, "--module", here.big.name]) == 0
    printed = "".join(capsys.readouterr())
    assert name_of(kind)[:40] in printed
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", printed)

"""The PDF: everything on it, nothing cut, the same bytes every time."""

import datetime
import io
import re
import sys
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import openpyxl
import pandas as pd
import pypdf
import pytest

from pdm_alloc.allocator import allocate
from pdm_alloc.diagnose.explain import explain
from pdm_alloc.domain.module import Unit
from pdm_alloc.export.drawings import ground_drawing, one_line
from pdm_alloc.export.pdf_document import WIDTH, build, pdf_bytes, sheets_pdf
from pdm_alloc.export.pdf_grid import Type, column_widths, grid, set_type, workbook_bytes
from pdm_alloc.export.sheets import Issue, Sheet, by_ground
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.result.allocation import NotEnough
from tests.export.made_up import DATA, one_each, solved
from tests.shortfall.conftest import LOAD, module_of, vehicle_of

DEMOS = [("rally_coupe", "middle-36"), ("expedition_truck", "compact-31")]
ISSUE = Issue("B", datetime.date(2026, 3, 1))


def _plain(text):
    return re.sub(r"\s+", "", text)


def _pages(content):
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]


@pytest.fixture(scope="module", params=DEMOS, ids=lambda demo: demo[0])
def made(request):
    """A demonstration allocation and the text of each page of its PDF."""
    allocation = solved(*request.param)
    return allocation, _pages(pdf_bytes(allocation, ISSUE))


def test_first_page_has_cautions_and_title_block(made):
    """Cautions, vehicle, revision, date and the hashes of all tables stand on the first page."""
    allocation, pages = made
    first = _plain(pages[0])
    for text in ("a qualified person", "main fuse at the battery", "protect the wire, not the load", "2026-03-01"):
        assert _plain(text) in first
    assert allocation.vehicle.name in first
    for table, digest in allocation.vehicle.table_hashes:
        assert f"{table}{digest[:12]}" in first


@pytest.mark.once
def test_contents_name_no_bus_where_there_is_none(made):
    """A vehicle of loads alone has no such chapter to look for."""
    assert "Bus" not in _plain(made[1][0])


def test_every_page_has_number_and_caution(made):
    """A page that falls out of the binder still says what it belongs to and that it is to be checked."""
    allocation, pages = made
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in text
        assert allocation.vehicle.name in text
        assert "Check them by measurement" in text


@pytest.mark.once
def test_no_cell_of_the_bench_sheet_is_cut(made):
    """Every pin with its channel, loads, label and trip setting is on the page of its connector in full."""
    allocation, pages = made
    for row in allocation.bench_sheet.itertuples():
        (page,) = [_plain(p) for p in pages if re.search(rf"Bench sheet: .*connector .*\b{row.connector}\b", p)]
        for cell in (row.pin, row.channel, row.loads, row.destination, row.label, row.splice):
            assert _plain(cell) in page
    assert len(allocation.channels) >= 29


@pytest.mark.once
def test_every_channel_has_its_commissioning_line(made):
    """The commissioning sheet comes after the dead circuit checks and has every channel and every condition."""
    allocation, pages = made
    dead = next(n for n, text in enumerate(pages) if text.count("Dead circuit checks"))
    start = next(n for n, text in enumerate(pages) if "One channel at a time" in text)
    assert dead < start
    sheet = _plain("".join(pages[start:]))
    for row in allocation.channels.itertuples():
        assert _plain(row.pins) in sheet
        assert _plain(row.loads) in sheet
    for command in allocation.vehicle.commands:
        assert _plain(command.condition) in sheet


@pytest.mark.once
@pytest.mark.parametrize(
    "name", ["Cut list", "Channel settings", "Input list", "Supply check", "Spare channels", "Assumptions"]
)
def test_tables_are_there(made, name):
    """Every other table of the documents has its place."""
    _, pages = made
    assert any(name in text for text in pages)


@pytest.mark.once
def test_same_bytes():
    """The same allocation, revision and date give the same file."""
    allocation = solved(*DEMOS[1])
    content = pdf_bytes(allocation, ISSUE)
    assert pdf_bytes(allocation, ISSUE) == content
    assert pdf_bytes(allocation, Issue("C", ISSUE.date)) != content


def test_outline_and_fonts():
    """The outline leads to the connectors, and every font is in the file."""
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(solved(*DEMOS[1]), ISSUE)))
    titles = [entry.title for entry in reader.outline]
    assert "Bench sheet: compact-31, connector west" in titles
    assert titles[-1] == "Assumptions"
    fonts = reader.pages[0]["/Resources"]["/Font"].get_object().values()
    names = {font.get_object()["/BaseFont"] for font in fonts}
    assert any("DejaVu" in name for name in names)


@pytest.mark.once
def test_odd_text_is_set_as_it_is():
    """Markup, letters of other alphabets, control characters and very long words neither break a page nor vanish."""
    vehicle = solved(*DEMOS[1]).vehicle
    odd = ["<b>bold</b> & <br/>", "Zündschloss größer Ω", "светло", "W" * 100, "tab\there", "a" * 40 + " " + "b" * 40]
    loads = tuple(replace(x, name=name) for x, name in zip(vehicle.loads, odd, strict=False))
    allocation = one_each(replace(vehicle, loads=loads, locked=()), 4)
    text = _plain("".join(_pages(pdf_bytes(allocation, ISSUE))))
    for name in odd:
        assert _plain(name) in text


@pytest.mark.once
def test_long_notes_do_not_break_the_page():
    """A cell longer than a page is cut with an ellipsis: the workbook has all of it."""
    table = pd.DataFrame({"input": ["x"], "note": ["word " * 5000]})
    pages = _pages(sheets_pdf("Test", [Sheet("Input list", table, "A note.")], "car", [("vehicle", "car")], ISSUE))
    assert len(pages) == 1
    assert "…" in pages[0]


@pytest.mark.once
def test_hundreds_of_rows_run_over_pages_with_headings():
    """A long table goes on over many pages, with its headings on each."""
    table = pd.DataFrame({"channel": [str(n) for n in range(400)], "running_a": 1.0})
    pages = _pages(sheets_pdf("Test", [Sheet("Pin map", table, "A note.")], "car", [("vehicle", "car")], ISSUE))
    assert len(pages) > 5
    assert all("running, A" in text for text in pages)
    numbers = re.findall(r"(?m)^(\d{1,3})\n", "\n".join(pages))
    assert set(map(str, range(400))) <= set(numbers)


@pytest.mark.once
def test_empty_table_says_none():
    """No spares and no warnings are said, not left blank."""
    table = pd.DataFrame(columns=["module", "channel"])
    (page,) = _pages(sheets_pdf("Test", [Sheet("Spares", table, "Channels that stay free.")], "car", [], ISSUE))
    assert "None." in page


@pytest.mark.once
def test_widths_fit_and_spare_words():
    """Columns fit the page; short ones keep their line, and no word is broken while there is room."""
    type_ = set_type()
    rows = [["middle-36", "words " * 60, "12.34"], ["compact-31", "more " * 40, "1.00"]]
    widths = column_widths(["module", "loads", "running, A"], rows, type_, 400.0)
    assert sum(widths) <= 400.001
    assert widths[0] >= type_.width("compact-31")
    assert widths[2] >= type_.width("running, A", bold=True)
    assert widths[1] == max(widths)
    crowded = column_widths(["x" * 30] * 20, [["y"] * 20], type_, 400.0)
    assert sum(crowded) == pytest.approx(400)


@pytest.mark.once
def test_one_long_cell_does_not_take_the_room_of_the_others():
    """Of twenty labels one is long: it wraps, and what most rows hold stays on one line."""
    type_ = set_type()
    rows = [[f"SG{n}", "heated screen left, scuttle"] for n in range(19)] + [["a label of several words", "dash"]]
    narrow, wide = column_widths(["label", "to"], rows, type_, 145.0)
    assert wide >= type_.width("heated screen left, scuttle") and narrow < type_.width("a label of several words")


@pytest.mark.once
def test_only_a_row_that_might_fit_on_no_page_is_parted():
    """A sentence is read on one page; a cell of a thousand words may go on overleaf."""
    type_ = set_type()
    short, long = (grid(pd.DataFrame({"warning": ["word " * n]}), type_, 200.0) for n in (60, 2_000))
    assert (short.splitInRow, long.splitInRow) == (0, 1)


@pytest.mark.once
def test_no_stud_covers_another():
    """Boxes of ground points near each other stand apart, all inside the drawing."""
    allocation = solved(*DEMOS[0])
    drawing = ground_drawing(allocation, 750.0, 230.0)
    boxes = [shape for shape in drawing.contents if hasattr(shape, "rx")]
    assert len(boxes) == len(allocation.vehicle.grounds) and all(0 <= b.x <= 750 - b.width for b in boxes)
    for a, b in combinations(boxes, 2):
        assert a.x + a.width <= b.x or b.x + b.width <= a.x or abs(a.y - b.y) >= a.height


@pytest.mark.once
def test_returns_that_lack_a_ground_for_one_reason_are_one_row():
    """Without a sensor ground the plan names every switch once, behind the one reason, and gives each no row."""
    allocation = solved(*DEMOS[0])
    power = tuple(ground for ground in allocation.vehicle.grounds if ground.use == "power")
    bare = replace(allocation, vehicle=replace(allocation.vehicle, grounds=power))
    plan = Sheet("Ground plan", bare.ground_plan, "")
    rows = by_ground(Sheet("Ground points", bare.ground_points, ""), plan).table
    missing = rows[rows["ground"] == "none"]["loads_and_switches"].tolist()
    switches = [row.load for row in bare.ground_plan.itertuples() if not row.ground]
    assert len(switches) > 3 and len(missing) == 1 and missing[0].endswith(": no sensor ground in table grounds")
    assert missing[0].split(":")[0].split(", ") == switches


@pytest.mark.once
def test_a_cable_without_a_size_runs_into_no_box():
    """The one-line diagram has no room for why a cable is not sized: that stands in the table it names."""
    allocation = solved(*DEMOS[0])
    settings = replace(allocation.vehicle.settings, alternator_place=allocation.vehicle.places[0].name)
    states = tuple(replace(state, charging_a=900.0) for state in allocation.vehicle.states)
    strong = replace(allocation, vehicle=replace(allocation.vehicle, settings=settings, states=states))
    texts = [shape for shape in one_line(strong, 750.0).contents if hasattr(shape, "text")]
    unsized = [shape for shape in texts if "not sized" in shape.text]
    assert unsized and "no standard fuse" in " ".join(strong.links.note)
    for shape in texts:
        assert shape.x + 0.5 * shape.fontSize * len(shape.text) < (600 if shape in unsized else 751), shape.text


@pytest.mark.once
def test_spares_are_on_the_bench_sheet(made):
    """A pin that stays free has its row, so that nobody wonders about it."""
    allocation, _ = made
    rows = allocation.bench_sheet
    spare = {pin for row in allocation.spare.itertuples() for pin in row.pins.split()}
    assert set(rows[rows.loads == "spare"].pin) == spare


@pytest.mark.once
def test_binder_is_short(made):
    """The binder of a demo vehicle has at most 16 pages, and an outline with every chapter."""
    _, pages = made
    assert len(pages) <= 16
    for chapter in ("Warnings", "Supply, one-line diagram", "Bench sheet", "Cut list", "Shopping list", "Assumptions"):
        assert any(chapter in text for text in pages)


@pytest.mark.once
def test_no_page_of_the_binder_is_nearly_empty():
    """With all bench tables no page of the demo binder holds less than a third of its rows but the last."""
    vehicle = read_vehicle(DATA / "rally_coupe")
    unit = Unit("middle-36", read_catalogue(DATA / "catalogue")["middle-36"], "glove box")
    content = pdf_bytes(allocate(vehicle, unit), ISSUE)
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    assert len(pages) <= 16
    heights = [page_height(page) for page in pages]
    assert min(heights[:-1]) > 1 / 3


def page_height(page):
    """Share of the page between its head and its foot, down to the lowest text."""
    lowest = []
    page.extract_text(visitor_text=lambda text, cm, tm, *_: lowest.append(tm[5] + cm[5]) if text.strip() else None)
    body = [y for y in lowest if 45 < y < 555]
    return (555 - min(body, default=555)) / 510


@pytest.mark.once
def test_fifty_six_channels_with_long_names_lose_no_letter():
    """56 channels whose loads have names of a hundred letters: every name and note is on paper in full."""
    vehicle = solved(*DEMOS[0]).vehicle
    names = [f"load {n} " + "with a very long name " * 4 + "and an end" for n in range(56)]
    first, command = vehicle.loads[0], vehicle.commands[0].name
    loads = tuple(replace(first, name=name, command=command, count=1, separate="") for name in names)
    allocation = one_each(replace(vehicle, loads=loads, locked=(), wire_colours=()), 1, 28)
    text = _plain("".join(_pages(pdf_bytes(allocation, ISSUE))))
    assert "…" not in text
    assert all(text.count(_plain(name)) >= 3 for name in names)


@pytest.mark.once
def test_plain_fonts_where_there_are_no_others():
    """Without the fonts of matplotlib what they cannot show is replaced, not refused."""
    plain = Type("Helvetica", "Helvetica-Bold", unicode=False)
    assert plain.marked_up("größer ☐ …") == "größer [ ] ..."
    assert plain.marked_up("Ω <") == "? &lt;"


@pytest.mark.once
def test_missing_library_is_one_clear_line(monkeypatch):
    """Without reportlab the message names the extra."""
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.raises(ModuleNotFoundError, match=r"pdm_alloc\[documents\]"):
        pdf_bytes(solved(*DEMOS[1]), ISSUE)


@pytest.mark.once
def test_letters_of_other_alphabets_are_shown_and_those_the_font_lacks_are_named():
    """Greek and Cyrillic stand in the binder; of Chinese question marks, and the front page says so."""
    vehicle = read_vehicle(DATA / "rally_coupe")
    first, second, third = vehicle.loads[0], vehicle.loads[1], vehicle.loads[2]
    names = ("Φάρος", "Фара", "lamp 前灯")
    loads = tuple(replace(load, name=name) for load, name in zip((first, second, third), names, strict=True))
    loads = tuple(replace(load, command=first.command, count=1, separate="") for load in loads)
    allocation = one_each(replace(vehicle, loads=loads, locked=(), wire_colours=()), 1, 3)
    pages = _pages(pdf_bytes(allocation, ISSUE))
    text = _plain("".join(pages))
    assert "Φάρος" in text and "Фара" in text and "前" not in text
    told = "the font of this document lacks characters of 1 name, shown as ?: lamp ?? (U+524D U+706F)."
    assert _plain(told) in _plain(pages[0])
    assert text.count(_plain("lamp ??")) >= 3
    plain = _plain(_pages(pdf_bytes(solved(*DEMOS[1]), ISSUE))[0])
    assert "lackscharacters" not in plain.replace(" ", "")


def _on_covers(allocation):
    """The front page of the document and the first sheet of the workbook, as plain text without spaces."""
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(allocation, ISSUE)))
    sheet = " ".join(f"{row[0]} {row[1]}" for row in book.worksheets[0].iter_rows(values_only=True))
    return _plain(_pages(pdf_bytes(allocation, ISSUE))[0]), _plain(sheet)


def _tight(ma, pct, headroom_pct=20):
    """One load on two channels that take 18.1 A with 20 % headroom."""
    load = replace(LOAD, name="compressor", running_ma=ma, inrush_ma=ma, tolerance_pct=Fraction(pct))
    vehicle = vehicle_of(load)
    own = tuple(replace(c, continuous_ma=22_625, peak_ma=90_000) for c in module_of(2).module.channels)
    settings = replace(vehicle.settings, headroom_pct=Fraction(headroom_pct))
    return replace(vehicle, settings=settings), module_of(2, own=own)


@pytest.mark.once
def test_enough_stands_on_both_covers_with_the_margins_kept():
    """Enough, and with which margins: those of the settings, of a command's own, and of the guesses."""
    vehicle, unit = _tight(12_000, 10)
    vehicle = replace(vehicle, commands=(replace(vehicle.commands[0], headroom_pct=Fraction(30)),))
    for text in _on_covers(allocate(vehicle, unit)):
        assert _plain("verdict enough: every limit is kept; headroom 20 % on channels (30 % on c)") in text
        assert _plain("10 % on banks and whole module; guessed currents, by up to 10 %") in text
        assert "enoughif" not in text


@pytest.mark.once
@pytest.mark.parametrize(("ma", "pct", "headroom_pct"), [(16_000, 15, 20), (15_000, 0, 40)])
def test_enough_if_stands_on_both_covers_with_its_conditions(ma, pct, headroom_pct):
    """A guess, or a margin, that is not kept: the verdict and every condition."""
    vehicle, unit = _tight(ma, pct, headroom_pct)
    with pytest.raises(NotEnough) as refused:
        allocate(vehicle, unit)
    study = explain(refused.value, sets=0)
    assert study.conditions
    for text in _on_covers(study.allocation_if):
        assert _plain("verdict enough if each of the conditions below is met: every limit is kept") in text
        for condition in study.conditions:
            assert _plain(f"enough if {condition}") in text


@pytest.mark.once
def test_not_enough_stands_on_both_covers_with_what_is_not_kept():
    """Circuits that a recount objects to are never called enough: the channel, the load and the limit."""
    vehicle, unit = _tight(12_000, 0)
    allocation = allocate(vehicle, unit)
    stronger = replace(vehicle, loads=(replace(vehicle.loads[0], running_ma=30_000, inrush_ma=30_000),))
    for text in _on_covers(replace(allocation, vehicle=stronger)):
        assert "verdictnotenough" in text and _plain("not kept m 1") in text and "verdictenough" not in text


def _table(rows):
    return pd.DataFrame(
        {"load": [f"lamp {n}" for n in range(rows)], "note": ["a few words " * (n % 7) for n in range(rows)]}
    )


def _set(rows, monkeypatch):
    """Pages of a table of so many rows, and how many rows were laid for them, again and again."""
    platypus = pytest.importorskip("reportlab.platypus")
    laid, before = [], platypus.Table.__init__

    def counting(self, data, *args, **options):
        laid.append(len(data))
        before(self, data, *args, **options)

    monkeypatch.setattr(platypus.Table, "__init__", counting)
    type_ = set_type()
    pages = _pages(build([grid(_table(rows), type_, WIDTH)], type_, "long", "line", "care"))
    monkeypatch.undo()
    return pages, sum(laid)


@pytest.mark.once
def test_work_grows_with_the_rows_of_a_table_not_with_their_square(monkeypatch):
    """A row is laid for its page, not again for every page before it; each stands once, in order, under a head."""
    (_, few), (pages, many) = _set(300, monkeypatch), _set(1_200, monkeypatch)
    assert many <= 4.5 * few
    assert re.findall(r"lamp \d+", "\n".join(pages)) == [f"lamp {n}" for n in range(1_200)]
    assert all(page.splitlines().count("load") == 1 for page in pages)


@pytest.mark.once
def test_a_row_parted_over_two_pages_is_whole_in_a_long_table():
    """A cell of many words among hundreds of rows loses none of them."""
    table = _table(200)
    table.loc[60, "note"] = " ".join(f"w{n}w" for n in range(3_000))[:7_900]
    type_ = set_type()
    text = "\n".join(_pages(build([grid(table, type_, 400.0)], type_, "long", "line", "care")))
    assert re.findall(r"w\d+w", text) == re.findall(r"w\d+w", table.loc[60, "note"])
    assert re.findall(r"lamp \d+", text) == [f"lamp {n}" for n in range(200)]

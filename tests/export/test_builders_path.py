"""From bench sheet and cut list alone, read back from the files, the whole netlist comes out again."""

import datetime
import io
import re
from dataclasses import replace

import networkx as nx
import openpyxl
import pypdf
import pytest

from pdm_alloc.domain.vehicle import MassItem
from pdm_alloc.export.pdf_document import labels_pdf, pdf_bytes
from pdm_alloc.export.pdf_grid import workbook_bytes
from pdm_alloc.export.pdf_sheets import drawing_files, label_rows
from pdm_alloc.export.sheets import Issue
from pdm_alloc.studies.alternatives import weight_ledger
from tests.export.made_up import one_each, solved
from tests.wiring.test_cut_list import grounded

pytestmark = pytest.mark.once

ISSUE = Issue("B", datetime.date(2026, 3, 1))
DEMOS = [("rally_coupe", "middle-42"), ("expedition_truck", "compact-31")]


def read_sheet(book, name):
    """Rows of a sheet as dicts by heading."""
    rows = list(book[name].iter_rows(values_only=True))
    return [dict(zip(rows[0], ("" if cell is None else cell for cell in row), strict=True)) for row in rows[1:]]


def plain(text):
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module", params=DEMOS, ids=lambda demo: demo[0])
def papers(request):
    """An allocation with ground points, its bench sheet and cut list as openpyxl reads them, the text of its binder."""
    allocation = grounded(*request.param)
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(allocation, ISSUE)))
    pages = pypdf.PdfReader(io.BytesIO(pdf_bytes(allocation, ISSUE))).pages
    binder = plain("".join(page.extract_text() for page in pages))
    return allocation, read_sheet(book, "Bench sheet"), read_sheet(book, "Cut list"), binder


def test_the_netlist_is_the_allocation(papers):
    """Every item hangs on the pins of its channel and on no other, over the splices that are named."""
    allocation, bench, cuts, _ = papers
    graph = nx.Graph((row["from"], row["to"]) for row in cuts if row["role"] == "circuit")
    channel_of = {f"{row['connector']} {row['pin']}": row["channel"] for row in bench}
    rebuilt = {}
    for net in nx.connected_components(graph):
        pins = net & channel_of.keys()
        assert len({channel_of[pin] for pin in pins}) == 1
        channel = channel_of[min(pins)]
        ends = {name for name in net if graph.degree(name) >= 1 and name not in channel_of and name[:1] != "S"}
        rebuilt.setdefault(channel, set()).update(ends)
        splices = {name for name in net if graph.degree(name) > 1 and name not in ends | pins}
        assert all(graph.degree(name) > 1 for name in splices)
    count = {load.name: load.count for load in allocation.vehicle.loads}
    asked = {
        c.channel: {load if count[load] == 1 else f"{load} #{item}" for load, item in c.items}
        for c in allocation.circuits
    }
    assert rebuilt == asked


def test_every_item_has_its_way_back(papers):
    """Every load that no bridge feeds has one return, and ends on a ground point of the plan."""
    allocation, _, cuts, _ = papers
    back = nx.DiGraph((row["from"], row["to"]) for row in cuts if row["role"] in ("return", "ground return"))
    points = {ground.name for ground in allocation.vehicle.grounds}
    count = {load.name: load.count for load in allocation.vehicle.loads}
    for circuit in allocation.circuits:
        for load, item in circuit.items if circuit.use != "bridge" else ():
            name = load if count[load] == 1 else f"{load} #{item}"
            ends = {end for end in nx.descendants(back, name) if not back.out_degree(end)}
            assert len(ends) == 1
            assert ends <= points or all(end.startswith("return of ") for end in ends)


def test_bench_sheet_and_cut_list_are_on_paper(papers):
    """Every pin with its label and setting, and every label of the cut list with both ends, is in the binder."""
    allocation, bench, cuts, binder = papers
    for row in bench:
        for cell in (row["pin"], row["loads"], row["label"], row["destination"]):
            assert plain(str(cell)) in binder
    for row in cuts:
        assert all(plain(str(row[name])) in binder for name in ("label", "from", "to"))
    pins = [pin for unit in allocation.units for channel in unit.module.channels for pin in channel.pins]
    assert sorted(row["pin"] for row in bench) == sorted(pins)


def test_feeds_and_fuses(papers):
    """Every battery cable is in the cut list with its fuse."""
    allocation, _, cuts, _ = papers
    feeds = [row for row in cuts if row["role"] == "feed"]
    for link in allocation.links.dropna(subset=["size"]).itertuples():
        if link.size and link.fuse_a == link.fuse_a:
            assert any(f"fuse {link.fuse_a:g} A" in row["note"] for row in feeds)


def test_forty_pins_a_page_and_no_name_cut():
    """Two connectors of 22 and 25 pins take two pages; long names of many channels lose no letter."""
    allocation = one_each(solved(*DEMOS[0]).vehicle, 1, 25)
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf_bytes(allocation, ISSUE))).pages]
    bench = [text for text in pages if "Bench sheet:" in text]
    connectors = {channel.connector for unit in allocation.units for channel in unit.module.channels}
    assert len(bench) <= len(connectors)
    assert all(plain(load.name) in plain("".join(bench)) for load in allocation.vehicle.loads)


def test_drawings_are_vector_files():
    """Supply, plan, circuits and board come as SVG and PDF, and name what they draw."""
    allocation = grounded(*DEMOS[0])
    files = drawing_files(allocation)
    assert {"supply.svg", "supply.pdf", "plan.svg", "circuits_1.pdf", "harness_board.pdf"} <= files.keys()
    assert b"isolator" in files["supply.svg"] or b"battery" in files["supply.svg"]
    circuits = b"".join(
        content for name, content in files.items() if name.startswith("circuits") and name.endswith("svg")
    )
    assert all(load.name.encode() in circuits for load in allocation.vehicle.loads)
    board = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(files["harness_board.pdf"])).pages)
    assert "harness board 1:10" in board


def test_labels_for_both_ends():
    """Every piece of wire has two labels, and the printed sheet has every one of them."""
    allocation = grounded(*DEMOS[0])
    rows = label_rows(allocation)
    assert [row["label"] for row in rows[::2]] == allocation.cut_list.label.tolist()
    assert all(a["end"] == b["to"] for a, b in zip(rows[::2], rows[1::2], strict=True))
    pages = pypdf.PdfReader(io.BytesIO(labels_pdf(allocation, ISSUE))).pages
    text = plain("".join(page.extract_text() for page in pages))
    assert all(plain(f"{row['label']}to{row['to']}") in text for row in rows)


def test_weight_ledger_is_the_sum_of_its_rows():
    """Net is what is fitted less what is removed; taking one part more out takes its mass off."""
    allocation = grounded(*DEMOS[0])
    allocation = replace(allocation, vehicle=replace(allocation.vehicle, removed=(), fitted=()))
    bare = weight_ledger(allocation).set_index("part").mass_g
    removed = (MassItem("old fuse box", 1850.0, 2),)
    lighter = replace(allocation, vehicle=replace(allocation.vehicle, removed=removed))
    table = weight_ledger(lighter).set_index("part").mass_g
    assert table["net"] == pytest.approx(bare["net"] - 3700)
    assert bare["wire of circuits"] == pytest.approx(sum(w.mass_g or 0.0 for w in allocation.wired), abs=0.1)
    assert table["net"] == pytest.approx(table.loc[:"old fuse box"].sum())

"""The picture of the board in README, from the demo data: ``python -m tests.browser.board_picture``."""

from dataclasses import replace
from pathlib import Path

from playwright.sync_api import sync_playwright

import pdm_alloc as pa
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel.answers import Answers, Question
from pdm_alloc.panel.board import Board
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.browser.stage import Stage

DATA = Path(__file__).resolve().parents[2] / "data"


def main() -> None:
    """Draw it with the module in the boot and the lightest place beside it, and save it in ``data/figures/panel``."""
    vehicle, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    tables = vehicle_plain(vehicle)
    board = Board(lambda name: tables.get(name, []), lambda _: None, lambda _: None, DATA / "rally_coupe")
    question = Question(vehicle, catalogue["middle-42"], catalogue, place="boot")
    board.show(next(Answers()(question, lambda: False)))
    board._seeker.overtake()
    for ghost in board._seek(replace(question), lambda: False):
        board.ghost = ghost
    with sync_playwright() as play:
        page = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS).new_page(
            viewport={"width": 1000, "height": 800}
        )
        Stage(page, board, board.act)
        page.wait_for_timeout(300)
        file = DATA / "figures" / "panel" / "board.png"
        file.parent.mkdir(exist_ok=True)
        page.locator(".pdm-board").screenshot(path=file)
        print(file.relative_to(DATA.parent))


if __name__ == "__main__":
    main()

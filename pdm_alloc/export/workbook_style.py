"""Cells, columns and printed pages of the workbook."""

from typing import Any

import pandas as pd

from pdm_alloc.export.heading import decimals, heading, shown

__all__ = ["Styles", "is_number", "set_page", "width_of"]

NARROWEST, WIDEST = 7, 44
_HEADER = 120  # characters of a name in a printed header, which must not pass 255 altogether
_A4 = 9


class Styles:
    """Formats of a workbook, made when first asked for: black and white, readable when copied."""

    def __init__(self, book: Any):
        self._book = book
        self._made: dict[tuple, Any] = {}

    def get(self, **properties: Any) -> Any:
        """The format with these properties, on top of those of every cell."""
        key = tuple(sorted(properties.items()))
        if key not in self._made:
            base = {"font_name": "Arial", "font_size": 9, "valign": "top", "text_wrap": True}
            self._made[key] = self._book.add_format(base | properties)
        return self._made[key]

    @property
    def title(self) -> Any:
        """Of the cover's title."""
        return self.get(bold=True, font_size=16, text_wrap=False)

    @property
    def heading(self) -> Any:
        """Of a column's heading."""
        return self.get(bold=True, bottom=2, bg_color="#E6E6E6", valign="bottom")

    def column(self, name: str, filled_in: bool = False) -> Any:
        """Of the cells of a column; bordered and open to editing where a person writes into them."""
        properties: dict[str, Any] = {"bottom": 4}
        digits = decimals(name)
        if digits is not None:
            properties["num_format"] = "0" + ("." + "0" * digits if digits else "")
        if filled_in:
            properties |= {"border": 1, "locked": False}
        return self.get(**properties)


def is_number(value: Any) -> bool:
    """Whether a cell is written as a number: finite, and no yes or no."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) != float("inf")


def width_of(name: str, cells: pd.Series) -> float:
    """Width of a column, in characters: its longest cell, within bounds, and no word of the heading cut."""
    longest = max((len(line) for cell in cells for line in shown(cell, name).splitlines()), default=0)
    words = max(len(word) for word in heading(name).split() or [""])
    return max(NARROWEST, words + 2, min(WIDEST, longest + 2))


def set_page(page: Any, title: str, foot: str, rows: int, columns: int) -> None:
    """Printing: landscape A4, as wide as the page, headings on every page, title above, page number below."""
    page.set_landscape()
    page.set_paper(_A4)
    page.fit_to_pages(1, 0)
    page.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.7)
    page.repeat_rows(0)
    page.print_area(0, 0, max(rows, 1), max(columns - 1, 0))
    page.set_header(f"&L&B{_safe(title)}&R{_safe(foot)}")
    page.set_footer("&LDesign values: check by measurement&RPage &P of &N")


def _safe(text: str) -> str:
    """Text for a printed header, where & starts a code."""
    return text[:_HEADER].replace("&", "&&").replace("\n", " ")

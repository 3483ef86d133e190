"""Workbooks made by hand, part by part, so that they can be what no spreadsheet writes."""

import zipfile
from pathlib import Path

__all__ = ["make_workbook", "sheet"]

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPE}.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" '
    f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets>'
    '<sheet name="loads" sheetId="1" r:id="r1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" '
    f'Type="{_REL}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
}


def make_workbook(path: Path, data: str, parts: dict[str, str | bytes] | None = None) -> Path:
    """A workbook of one sheet ``loads``.

    Parameters
    ----------
    path : Path
        Where to.
    data : str
        Content of sheetData.
    parts : dict of str to str or bytes, optional
        Parts added, or put in place of the usual ones.
    """
    sheets = {"xl/worksheets/sheet1.xml": sheet(data)}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**_PARTS, **sheets, **(parts or {})}.items():
            archive.writestr(name, content)
    return path


def sheet(data: str, before: str = "") -> str:
    """A sheet with this content of sheetData, and something before it."""
    return f'<worksheet xmlns="{_MAIN}">{before}<sheetData>{data}</sheetData></worksheet>'


def row(number: int, *cells: str | float) -> str:
    """One row of text and number cells."""
    return f'<row r="{number}">{"".join(_cell(cell) for cell in cells)}</row>'


def _cell(value):
    return f"<c><v>{value}</v></c>" if isinstance(value, float) else f'<c t="inlineStr"><is><t>{value}</t></is></c>'

"""A value given in code as the text of a cell, so that it is read and checked as a table is."""

from pdm_alloc.tables.frames import cell_text

__all__ = ["cell_text"]

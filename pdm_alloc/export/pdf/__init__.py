"""The document for the workshop wall and the binder, as PDF."""

from pdm_alloc.export.pdf.document import pdf_bytes, sheets_pdf

__all__ = ["pdf_bytes", "sheets_pdf"]

"""The editable table: cells, sheets, one history for all of them, and the widget that shows one."""

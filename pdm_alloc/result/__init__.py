"""The result of an allocation and its tables, refusals, and warnings."""

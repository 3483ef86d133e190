"""The result of an allocation, its tables, and the independent check."""

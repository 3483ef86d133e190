"""The what-if panel for notebooks: an editable table of loads with the verdict beside it."""

"""`python -m pdm_alloc`: the command line."""

from pdm_alloc.cli import program

program()

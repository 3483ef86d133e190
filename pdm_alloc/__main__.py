"""`python -m pdm_alloc`: the command line."""

import sys

from pdm_alloc.cli import main

sys.exit(main())

"""Where wires run: lengths along routes, bundles, mass."""

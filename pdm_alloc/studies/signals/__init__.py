"""The signal side: boxes chosen and fitted, signals on their pins, wires, the bus, what the papers say of them."""

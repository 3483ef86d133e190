"""Pure functions over numbers and arrays: voltage, derating, inrush, protection, wire, trip settings, supply."""

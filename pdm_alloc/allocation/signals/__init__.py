"""Signals on pins: the assignment, what is short, what would make it fit, which boxes to buy."""

"""The integer programs; the only place that knows PuLP or a solver."""

"""Guesses in the load table: how likely it is that the answer survives them, and which to measure first."""

from pdm_alloc.uncertainty.again import ModuleRisk, module_risk
from pdm_alloc.uncertainty.fixed import Risk, allocation_risk

__all__ = ["ModuleRisk", "Risk", "allocation_risk", "module_risk"]

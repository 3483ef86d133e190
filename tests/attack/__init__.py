"""An oracle, a checker, a simulator and a generator that share nothing with the package."""

"""Which modules, and where to mount them: every module and pair on every place, bounded first and solved best first."""

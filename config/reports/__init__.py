"""Reports of a period: turn-round, first pass, losses, machine use, indicators, overdue. No scores on persons."""

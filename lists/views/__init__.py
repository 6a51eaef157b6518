"""Pages of lists, cases and histories."""

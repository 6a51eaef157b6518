"""Pages of loads and machines."""

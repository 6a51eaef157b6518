"""Pages of trays, their benches, and what is printed for packs."""

"""Pages of the catalogue and of fit; verbs of pieces."""

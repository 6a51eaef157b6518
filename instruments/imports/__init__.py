"""Importing the catalogue and the register of pieces."""

from instruments.imports.catalogue import import_catalogue
from instruments.imports.pieces import import_pieces

__all__ = ["import_catalogue", "import_pieces"]

"""Parts, pieces, series and marks."""

from django.apps import AppConfig


class InstrumentsConfig(AppConfig):
    """The catalogue and the pieces."""

    name = "instruments"

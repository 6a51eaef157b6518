"""Machines, loads and cycles."""

from django.apps import AppConfig


class ReprocessingConfig(AppConfig):
    """Machines, loads and cycles."""

    name = "reprocessing"

"""Templates, trays and packs."""

from django.apps import AppConfig


class TraysConfig(AppConfig):
    """Templates, trays and packs."""

    name = "trays"

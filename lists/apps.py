"""Theatres, lists and cases."""

from django.apps import AppConfig


class ListsConfig(AppConfig):
    """Theatres, lists and cases."""

    name = "lists"

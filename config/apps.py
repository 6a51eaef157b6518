"""The project as an app: it owns the Celery application that every shared task is bound to."""

from django.apps import AppConfig


class SiteConfig(AppConfig):
    """Loads the Celery application in every process, so that a page can hand work to it."""

    name = "config"

    def ready(self) -> None:
        """Make it the default application of all threads."""
        from config import celery  # noqa: F401, PLC0415 - reads the settings

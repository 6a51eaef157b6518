"""Every address of the site."""

from django.contrib import admin
from django.urls import include, path, register_converter

from config.health import health
from journal.converters import DayConverter

register_converter(DayConverter, "day")

urlpatterns = [
    path("admin/", admin.site.urls),
    path("health/", health, name="health"),
    path("api/", include("config.api")),
    path("", include("journal.urls")),
]

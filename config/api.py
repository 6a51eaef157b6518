"""Every address of the API."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.authtoken.views import obtain_auth_token

from journal.api import Notices, action_routes

urlpatterns = [
    path("sign-in/", obtain_auth_token, name="api-sign-in"),
    path("openapi.yaml", SpectacularAPIView.as_view(), name="api-openapi"),
    path("notices/", Notices.as_view(), name="api-notices"),
    *action_routes("journal"),
    path("", include("instruments.api")),
    path("", include("trays.api")),
    path("", include("reprocessing.api")),
    path("", include("lists.api")),
]

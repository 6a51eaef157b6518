"""Addresses of the pages around the person."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from journal import views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("station/", views.station, name="station"),
    path("notices/", views.notices, name="notices"),
    path("notices/<int:notice>/acknowledge/", views.notice_acknowledge, name="notice-acknowledge"),
    path("trail/", views.trail, name="trail"),
    path("trail/verify/", views.trail_verify, name="trail-verify"),
    path("trail/heads/<int:size>/", views.trail_head, name="trail-head"),
    path("trail/proofs/<int:position>/", views.trail_proof, name="trail-proof"),
]

"""Addresses of the pages around the person."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from journal import views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("station/", views.station, name="station"),
    path("notices/", views.notices, name="notices"),
    path("notices/channels/", views.channels, name="channels"),
    path("notices/channels/open/", views.channel_open, name="channel-open"),
    path("notices/channels/<int:channel>/close/", views.channel_close, name="channel-close"),
    path("notices/channels/<int:channel>/again/", views.channel_again, name="channel-again"),
    path("notices/<int:notice>/", views.notice, name="notice"),
    path("notices/<int:notice>/acknowledge/", views.notice_acknowledge, name="notice-acknowledge"),
    path("trail/", views.trail, name="trail"),
    path("trail/verify/", views.trail_verify, name="trail-verify"),
    path("trail/heads/<int:size>/", views.trail_head, name="trail-head"),
    path("trail/proofs/<int:position>/", views.trail_proof, name="trail-proof"),
]

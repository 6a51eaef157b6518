"""Addresses of lists, cases and histories."""

from django.urls import path

from lists.views import days, histories, planning

urlpatterns = [
    path("lists/", days.lists, name="lists"),
    path("lists/<day:day>/", days.list_day, name="list-day"),
    path("lists/<day:day>/allocate/", days.allocate_day, name="allocate-day"),
    path("cases/plan/", planning.plan_case, name="plan-case"),
    path("cases/<str:code>/", days.case, name="case"),
    path("cases/<str:code>/move/", planning.move_case, name="move-case"),
    path("cases/<str:code>/requirements/", planning.add_requirement, name="add-requirement"),
    path("cases/<str:code>/end/", days.end_case, name="end-case"),
    path("cases/<str:code>/cancel/", days.cancel_case, name="cancel-case"),
    path("requirements/<int:requirement>/allocate/", days.allocate, name="allocate"),
    path("requirements/<int:requirement>/free/", days.free, name="free"),
    path("pieces/<str:code>/", histories.piece, name="piece"),
    path("packs/<str:code>/", histories.pack, name="pack"),
]

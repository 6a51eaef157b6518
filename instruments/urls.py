"""Addresses of the catalogue and of what is done with pieces."""

from django.urls import path

from instruments.views import catalogue, fit, matrix, pieces

urlpatterns = [
    path("catalogue/", catalogue.catalogue, name="catalogue"),
    path("catalogue/<str:code>/", catalogue.part, name="part"),
    path("catalogue/<str:code>/enrol/", pieces.enrol, name="enrol"),
    path("fit/", fit.fit, name="fit"),
    path("fit/matrix/<str:code>/", matrix.matrix, name="fit-matrix"),
    path("fit/matrix/<str:code>/csv/", matrix.matrix_csv, name="fit-matrix-csv"),
    path("fit/together/<str:code>/", matrix.together, name="together"),
    path("pieces/<str:code>/marks/", pieces.add_mark, name="add-mark"),
    path("pieces/<str:code>/<slug:verb>/", pieces.piece_verb, name="piece-verb"),
]

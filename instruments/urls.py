"""Addresses of the catalogue, of loans, of the service plan, and of what is done with pieces."""

from django.urls import path

from instruments.views import catalogue, fit, loans, matrix, pieces, service

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
    path("stock/service/", service.service, name="service"),
    path("stock/loans/", loans.loans, name="loans"),
    path("stock/loans/agree/", loans.agree, name="agree-loan"),
    path("stock/loans/<str:code>/", loans.loan, name="loan"),
    path("stock/loans/<str:code>/scan/", loans.scan, name="loan-scan"),
    path("stock/loans/<str:code>/receive/", loans.receive, name="loan-receive"),
    path("stock/loans/<str:code>/papers/", loans.papers, name="loan-papers"),
    path("stock/loans/<str:code>/extend/", loans.extend, name="loan-extend"),
    path("stock/loans/<str:code>/<slug:verb>/", loans.loan_verb, name="loan-verb"),
]

"""Every address of the site."""

from django.contrib import admin
from django.urls import include, path

from config import look_back, views
from config.health import health
from config.reports import views as reports
from config.validation import views as validation

urlpatterns = [
    path("admin/", admin.site.urls),
    path("health/", health, name="health"),
    path("api/", include("config.api")),
    path("", views.day, name="day"),
    path("find/", views.find, name="find"),
    path("look-back/", look_back.look_back, name="look-back"),
    path("look-back/table.csv", look_back.look_back_csv, name="look-back-csv"),
    path("validation/", validation.validation, name="validation"),
    path("validation/report.pdf", validation.validation_pdf, name="validation-pdf"),
    path("validation/report.json", validation.validation_json, name="validation-json"),
    path("reports/", reports.reports_page, name="reports"),
    path("reports/<slug:slug>.csv", reports.report_csv, name="report-csv"),
    path("help/", views.guide, name="help"),
    path("scan/", views.scan, name="scan"),
    path("scan/check/", views.scanner_check, name="scan-check"),
    path("scan/<slug:slug>/", views.scan_mode, name="scan-mode"),
    path("scan/<slug:slug>/next/", views.let_go, name="scan-next"),
    path("scan/<slug:slug>/press/<slug:name>/", views.press, name="scan-press"),
    path("", include("journal.urls")),
    path("", include("instruments.urls")),
    path("", include("trays.urls")),
    path("", include("reprocessing.urls")),
    path("", include("lists.urls")),
]

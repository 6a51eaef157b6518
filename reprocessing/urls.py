"""Addresses of loads, machines, recalls and non-conformities."""

from django.urls import path

from reprocessing.views import intake, leak_tests, loads, machines, protein, quality, recalls, upkeep, verbs

urlpatterns = [
    path("loads/", loads.loads, name="loads"),
    path("loads/open/", loads.open_one, name="load-open"),
    path("loads/<str:code>/", loads.load, name="load"),
    path("loads/<str:code>/<slug:verb>/", verbs.load_verb, name="load-verb"),
    path("records/", intake.records, name="records"),
    path("records/<int:record>/match/", intake.match, name="record-match"),
    path("records/<int:record>/set-aside/", intake.set_aside, name="record-set-aside"),
    path("records/<int:record>/leak-test/", leak_tests.leak_test, name="leak-test"),
    path("records/<int:record>/leak-test/sign/", leak_tests.sign, name="leak-test-sign"),
    path("machines/<str:code>/leak-record/", leak_tests.leave, name="leak-record"),
    path("machines/<str:code>/columns/", intake.columns, name="machine-columns"),
    path("machines/<str:code>/device-number/", intake.device_number, name="machine-device-number"),
    path("machines/", machines.machines, name="machines"),
    path("machines/periodic-tests/", upkeep.periodic_tests, name="periodic-tests"),
    path("machines/periodic-tests/<int:test>/end/", upkeep.end_one, name="periodic-test-end"),
    path("machines/<str:code>/upkeep/", upkeep.upkeep, name="machine-upkeep"),
    path("machines/<str:code>/upkeep/<slug:verb>/", upkeep.upkeep_verb, name="machine-upkeep-verb"),
    path("machines/<str:code>/", machines.machine, name="machine"),
    path("machines/<str:code>/<slug:verb>/", machines.machine_verb, name="machine-verb"),
    path("quality/", quality.quality, name="quality"),
    path("quality/raise/", quality.raise_one, name="nonconformity-raise"),
    path("quality/protein/", protein.protein, name="protein"),
    path("quality/<str:code>/", quality.nonconformity, name="nonconformity"),
    path("quality/<str:code>/done/<int:number>/", quality.finish, name="nonconformity-finish"),
    path("quality/<str:code>/<slug:verb>/", quality.nonconformity_verb, name="nonconformity-verb"),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/draft/", recalls.draft, name="recall-draft"),
    path("recalls/of-machine/<str:code>/", recalls.draft_of_machine, name="recall-of-machine"),
    path("recalls/<str:code>/", recalls.recall, name="recall"),
    path("recalls/<str:code>/list.csv", recalls.recall_csv, name="recall-csv"),
    path("recalls/<str:code>/report.pdf", recalls.recall_pdf, name="recall-pdf"),
    path("recalls/<str:code>/<slug:verb>/", recalls.recall_verb, name="recall-verb"),
]

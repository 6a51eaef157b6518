"""Addresses of trays, of their benches, and of what is done with packs and printed for them."""

from django.urls import path

from trays.views import bench, boxes, cards, drafts, packs, receiving, stock, templates

urlpatterns = [
    path("stock/", stock.stock, name="stock"),
    path("boxes/", boxes.boxes, name="boxes"),
    path("boxes/<str:code>/", boxes.box, name="box"),
    path("boxes/<str:code>/label.pdf", boxes.label, name="box-label"),
    path("boxes/<str:code>/<slug:verb>/", boxes.box_verb, name="box-verb"),
    path("print/", cards.cards, name="print"),
    path("print/<slug:what>.pdf", cards.card, name="print-card"),
    path("receive/", receiving.receive, name="receive"),
    path("receive/mark/", receiving.read_mark, name="receive-mark"),
    path("templates/", templates.templates, name="templates"),
    path("templates/enter/", templates.enter, name="enter-template"),
    path("templates/export.csv", templates.export, name="export-templates"),
    path("templates/<str:code>/", templates.template, name="template"),
    path("templates/<str:code>/versions/<int:number>/", templates.version, name="template-version"),
    path("templates/<str:code>/versions/<int:number>/list.csv", templates.export_version, name="export-version"),
    path("templates/<str:code>/compare/", templates.compare, name="compare-versions"),
    path("templates/<str:code>/publish/", templates.publish, name="publish-template"),
    path("templates/<str:code>/draft/<slug:verb>/", drafts.draft_verb, name="draft-verb"),
    path("trays/", bench.trays, name="trays"),
    path("trays/<str:code>/", bench.tray, name="tray"),
    path("trays/<str:code>/bench/", bench.bench, name="tray-bench"),
    path("trays/<str:code>/put/", bench.put, name="tray-put"),
    path("trays/<str:code>/take-off/", bench.take_off, name="tray-take-off"),
    path("trays/<str:code>/set-aside/", bench.set_aside, name="tray-set-aside"),
    path("trays/<str:code>/pack-single/", bench.pack_single, name="tray-pack-single"),
    path("trays/<str:code>/join/", bench.join, name="tray-join"),
    path("trays/<str:code>/finish/", bench.finish, name="tray-finish"),
    path("trays/<str:code>/count-sheet.pdf", packs.check_list, name="tray-count-sheet"),
    path("packs/<str:code>/label/print/", packs.print_label, name="pack-label"),
    path("packs/<str:code>/count-sheet/print/", packs.print_count_sheet, name="pack-count-sheet"),
    path("packs/<str:code>/printed/<str:sha256>.pdf", packs.printed, name="pack-printed"),
    path("packs/<str:code>/label-read/", packs.label_read, name="pack-label-read"),
    path("packs/<str:code>/<slug:verb>/", packs.pack_verb, name="pack-verb"),
]

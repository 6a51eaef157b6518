"""Addresses of lists, cases and histories."""

from django.urls import path

from lists.views import board, cases, completing, days, fixing, histories, messages, needs, planning, sheets, times

urlpatterns = [
    path("lists/", days.lists, name="lists"),
    path("lists/messages/", messages.messages, name="messages"),
    path("lists/messages/code/<slug:kind>/", messages.name_code, name="message-code"),
    path("lists/messages/<int:message>/try-again/", messages.try_again, name="message-try-again"),
    path("lists/messages/<int:message>/set-aside/", messages.set_aside, name="message-set-aside"),
    path("lists/times/", times.stage_times, name="stage-times"),
    path("lists/<day:day>/", days.list_day, name="list-day"),
    path("lists/<day:day>/board/", board.board, name="list-board"),
    path("lists/<day:day>/allocate/", days.allocate_day, name="allocate-day"),
    path("lists/<day:day>/complete/", completing.complete_day, name="complete-day"),
    path("lists/<day:day>/complete/sheet.pdf", completing.complete_day_sheet, name="complete-day-sheet"),
    path("lists/<day:day>/go/", sheets.go_day, name="go-day"),
    path("lists/<day:day>/go/print/", sheets.print_go_sheet, name="print-go-sheet"),
    path("lists/<day:day>/go/<int:sheet>.pdf", sheets.go_sheet, name="go-sheet"),
    path("lists/<day:day>/pick/", sheets.pick_day, name="pick-day"),
    path("lists/<day:day>/pick/list.pdf", sheets.pick_day_list, name="pick-day-list"),
    path("needs/", needs.needs, name="needs"),
    path("needs/state/", needs.state_needs, name="state-needs"),
    path("needs/standing/", needs.keep_standing, name="keep-standing"),
    path("cases/plan/", planning.plan_case, name="plan-case"),
    path("cases/<str:code>/", cases.case, name="case"),
    path("cases/<str:code>/move/", planning.move_case, name="move-case"),
    path("cases/<str:code>/requirements/", planning.add_requirement, name="add-requirement"),
    path("cases/<str:code>/needs/", needs.renew_needs, name="renew-needs"),
    path("cases/<str:code>/apply-fix/", fixing.apply_fix, name="apply-fix"),
    path("cases/<str:code>/undo-fix/", fixing.undo_fix, name="undo-fix"),
    path("cases/<str:code>/<slug:verb>/", cases.case_verb, name="case-verb"),
    path("requirements/<int:requirement>/allocate/", cases.allocate, name="allocate"),
    path("requirements/<int:requirement>/free/", cases.free, name="free"),
    path("requirements/<int:requirement>/remove/", needs.remove_requirement, name="remove-requirement"),
    path("pieces/<str:code>/", histories.piece, name="piece"),
    path("packs/<str:code>/", histories.pack, name="pack"),
]

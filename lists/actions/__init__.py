"""The verbs of lists, cases, issue and return."""

from lists.actions.allocating import allocate, allocate_list, free
from lists.actions.counting import close_count, count_piece, discard_piece, implant_piece, take_back
from lists.actions.day_plans import (
    ask_for_plan,
    cancel_plan,
    end_plan,
    keep_progress,
    plan_anew,
    plan_on_time,
    take_up_plan,
)
from lists.actions.dropping import drop_piece, replace_piece
from lists.actions.emergency import issue_emergency
from lists.actions.fixing import apply_fix, undo_fix
from lists.actions.messages import (
    list_system,
    name_code,
    pseudonyms,
    set_message_aside,
    take_in_message,
    try_message_again,
)
from lists.actions.needing import add_requirement, remove_requirement, renew_needs
from lists.actions.planning import cancel_case, move_case, plan_case
from lists.actions.sheets import print_at_cutoff, print_go_sheet
from lists.actions.stating import keep_standing, state_needs
from lists.actions.theatre import end_case, issue, open_pack, put_back

__all__ = [
    "add_requirement",
    "allocate",
    "allocate_list",
    "apply_fix",
    "ask_for_plan",
    "cancel_case",
    "cancel_plan",
    "close_count",
    "count_piece",
    "discard_piece",
    "drop_piece",
    "end_case",
    "end_plan",
    "free",
    "implant_piece",
    "issue",
    "issue_emergency",
    "keep_progress",
    "keep_standing",
    "list_system",
    "move_case",
    "name_code",
    "open_pack",
    "plan_anew",
    "plan_case",
    "plan_on_time",
    "print_at_cutoff",
    "print_go_sheet",
    "pseudonyms",
    "put_back",
    "remove_requirement",
    "renew_needs",
    "replace_piece",
    "set_message_aside",
    "state_needs",
    "take_back",
    "take_in_message",
    "take_up_plan",
    "try_message_again",
    "undo_fix",
]

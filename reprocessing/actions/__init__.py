"""The verbs of machines and loads."""

from reprocessing.actions.decisions import decide_doubt, recall_load, reject, release
from reprocessing.actions.evidence import (
    attach_trace,
    place_indicator,
    read_indicator,
    sign_exceptional_release,
)
from reprocessing.actions.intake import (
    match_record,
    note_refused,
    set_columns,
    set_device_number,
    set_record_aside,
    take_in,
)
from reprocessing.actions.leak_tests import leave_record, record_leak_test
from reprocessing.actions.loads import (
    add_pack,
    add_piece,
    add_returned_set,
    open_load,
    start_load,
    take_off_load,
    take_out_of_load,
)
from reprocessing.actions.machines import record_test, return_to_service, take_out_of_service
from reprocessing.actions.periodic import ask_periodic_test, end_periodic_test, record_periodic_test
from reprocessing.actions.programmes import drop_lumen_limit, limit_loads, limit_lumens
from reprocessing.actions.quality import (
    add_corrective_action,
    close_nonconformity,
    finish_corrective_action,
    keep_nonconformity_open,
    propose_quality_closure,
    raise_nonconformity,
)
from reprocessing.actions.recalls import (
    close_recall,
    draft_by_indicators,
    draft_recall,
    drop_recall,
    issue_recall,
    keep_recall_open,
    propose_closure,
    settle_recalled,
)
from reprocessing.actions.regrouping import merge_loads, split_load
from reprocessing.actions.residue import check_protein
from reprocessing.actions.supplies import put_lot_in_use, take_lot_out_of_use
from reprocessing.actions.unloading import record_dosing, unload
from reprocessing.actions.upkeep import lift_closure, plan_closure

__all__ = [
    "add_corrective_action",
    "add_pack",
    "add_piece",
    "add_returned_set",
    "ask_periodic_test",
    "attach_trace",
    "check_protein",
    "close_nonconformity",
    "close_recall",
    "decide_doubt",
    "draft_by_indicators",
    "draft_recall",
    "drop_lumen_limit",
    "drop_recall",
    "end_periodic_test",
    "finish_corrective_action",
    "issue_recall",
    "keep_nonconformity_open",
    "keep_recall_open",
    "leave_record",
    "lift_closure",
    "limit_loads",
    "limit_lumens",
    "match_record",
    "merge_loads",
    "note_refused",
    "open_load",
    "place_indicator",
    "plan_closure",
    "propose_closure",
    "propose_quality_closure",
    "put_lot_in_use",
    "raise_nonconformity",
    "read_indicator",
    "recall_load",
    "record_dosing",
    "record_leak_test",
    "record_periodic_test",
    "record_test",
    "reject",
    "release",
    "return_to_service",
    "set_columns",
    "set_device_number",
    "set_record_aside",
    "settle_recalled",
    "sign_exceptional_release",
    "split_load",
    "start_load",
    "take_in",
    "take_lot_out_of_use",
    "take_off_load",
    "take_out_of_load",
    "take_out_of_service",
    "unload",
]

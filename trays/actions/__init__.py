"""The verbs of trays and packs."""

from trays.actions.assembly import finish_tray, pack_single
from trays.actions.bench import join_closed_set, put_on_tray, set_aside, take_off_tray
from trays.actions.boxes import put_pack_in_box
from trays.actions.choices import drop_series_rule, drop_substitute, name_substitute, set_series_rule
from trays.actions.drafts import (
    add_line,
    change_line,
    discard_draft,
    enter_template,
    move_line,
    remove_line,
    start_draft,
)
from trays.actions.packs import (
    condemn_pack,
    expire_pack,
    give_back_pack,
    quarantine_pack,
    receive_maker_pack,
    scrap_pack,
    store,
    take_apart,
)
from trays.actions.papers import confirm_label, print_paper
from trays.actions.templates import import_draft, publish_version

__all__ = [
    "add_line",
    "change_line",
    "condemn_pack",
    "confirm_label",
    "discard_draft",
    "drop_series_rule",
    "drop_substitute",
    "enter_template",
    "expire_pack",
    "finish_tray",
    "give_back_pack",
    "import_draft",
    "join_closed_set",
    "move_line",
    "name_substitute",
    "pack_single",
    "print_paper",
    "publish_version",
    "put_on_tray",
    "put_pack_in_box",
    "quarantine_pack",
    "receive_maker_pack",
    "remove_line",
    "scrap_pack",
    "set_aside",
    "set_series_rule",
    "start_draft",
    "store",
    "take_apart",
    "take_off_tray",
]

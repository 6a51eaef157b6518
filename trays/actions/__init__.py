"""The verbs of trays and packs."""

from trays.actions.assembly import finish_tray, pack_single
from trays.actions.bench import join_closed_set, put_on_tray, set_aside, take_off_tray
from trays.actions.packs import (
    condemn_pack,
    expire_pack,
    quarantine_pack,
    receive_maker_pack,
    scrap_pack,
    store,
    take_apart,
)
from trays.actions.papers import confirm_label, print_paper
from trays.actions.templates import publish_version

__all__ = [
    "condemn_pack",
    "confirm_label",
    "expire_pack",
    "finish_tray",
    "join_closed_set",
    "pack_single",
    "print_paper",
    "publish_version",
    "put_on_tray",
    "quarantine_pack",
    "receive_maker_pack",
    "scrap_pack",
    "set_aside",
    "store",
    "take_apart",
    "take_off_tray",
]

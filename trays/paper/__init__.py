"""Paper: labels, count sheets, and the cards and sheets of the stations."""

from trays.paper.boxes import box_label
from trays.paper.cards import badges, command_cards, place_marks, scanner_card
from trays.paper.drawing import OwnFiles, datamatrix, draw, qr
from trays.paper.labels import LABEL_SIZES, LabelSize, label, usual_size
from trays.paper.sheets import check_list, count_sheet

__all__ = [
    "LABEL_SIZES",
    "LabelSize",
    "OwnFiles",
    "badges",
    "box_label",
    "check_list",
    "command_cards",
    "count_sheet",
    "datamatrix",
    "draw",
    "label",
    "place_marks",
    "qr",
    "scanner_card",
    "usual_size",
]

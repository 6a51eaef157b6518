"""Paper: labels, count sheets, and the cards and sheets of the stations."""

from trays.paper.drawing import OwnFiles, datamatrix, draw, qr
from trays.paper.labels import LABEL_SIZES, LabelSize, label, usual_size
from trays.paper.sheets import check_list, count_sheet

__all__ = [
    "LABEL_SIZES",
    "LabelSize",
    "OwnFiles",
    "check_list",
    "count_sheet",
    "datamatrix",
    "draw",
    "label",
    "qr",
    "usual_size",
]

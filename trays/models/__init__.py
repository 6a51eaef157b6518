"""Templates, trays, and packs with their frozen contents."""

from trays.models.packs import Carried, Content, Lack, Pack, PackLine, Printed
from trays.models.templates import SeriesRule, Substitute, Template, TemplateLine, TemplateVersion
from trays.models.trays import ClosedMember, Placement, Tray

__all__ = [
    "Carried",
    "ClosedMember",
    "Content",
    "Lack",
    "Pack",
    "PackLine",
    "Placement",
    "Printed",
    "SeriesRule",
    "Substitute",
    "Template",
    "TemplateLine",
    "TemplateVersion",
    "Tray",
]

"""What a plan of lists says on pages of apps below, which know nothing of lists."""

from __future__ import annotations

from django import template
from django.utils import timezone

from lists.reads import next_planned_load

register = template.Library()


@register.inclusion_tag("lists/next_load.html")
def next_load() -> dict[str, object]:
    """The load that the newest plans want next, with the way to its plan: `{% next_load %}`."""
    found = next_planned_load(timezone.now())
    return {"found": found, "day": timezone.localdate()}

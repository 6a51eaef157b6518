"""Questions to the journal."""

from __future__ import annotations

from journal.models import PolicySetting
from journal.policies import POLICIES, PolicyValue


def policies() -> dict[str, PolicyValue]:
    """Every policy in force, in one query."""
    values: dict[str, PolicyValue] = {name: row.default for name, row in POLICIES.items()}
    values.update(PolicySetting.objects.values_list("name", "value"))
    return values


def policy(name: str) -> PolicyValue:
    """One policy in force.

    Raises:
        KeyError: no such policy.
    """
    default = POLICIES[name].default
    own = PolicySetting.objects.filter(name=name).values_list("value", flat=True).first()
    return default if own is None else own

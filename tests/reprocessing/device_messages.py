"""Messages that a machine might send of a cycle, built and checked with hl7apy.

No sample of such a message is published, so these are built by hand from hl7apy's tables of HL7 v2.6 to v2.8.2;
its strict validation says that structure, fields and types are those of the standard.
"""

from __future__ import annotations

import itertools

from hl7apy.consts import VALIDATION_LEVEL
from hl7apy.core import Message

GROUPS = {"S31": "SDR_S31_ANTI_MICROBIAL_DEVICE_DATA", "S32": "SDR_S32_ANTI_MICROBIAL_DEVICE_CYCLE_DATA"}
USUAL = {"sdd_2": "AC-1", "scd_3": "134.7^Cel", "scd_7": "200^s", "scd_19": "N"}
_numbers = itertools.count(1)


def device_message(*, event: str = "S32", version: str = "2.6", control_id: str = "", **fields: str) -> str:
    """A valid message; fields are named like `scd_7`, and replace the usual ones."""
    message = Message(f"SDR_{event}", version=version, validation_level=VALIDATION_LEVEL.STRICT)
    message.msh.msh_3, message.msh.msh_7 = "STERILISER", "20261125101500+0100"
    message.msh.msh_9, message.msh.msh_11 = f"SDR^{event}^SDR_{event}", "P"
    message.msh.msh_10 = control_id or f"C{next(_numbers)}"
    group = message.add_group(GROUPS[event])
    for name, value in sorted({**USUAL, **fields}.items(), key=lambda item: item[0].startswith("scd")):
        setattr(getattr(group, name[:3]), name, value)
    assert message.validate()
    return str(message.to_er7())

"""What `manage.py compute` offers of reprocessing: lethality of a record, saturated steam."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from journal.documents import listed, number, read, text
from reprocessing import lethality
from reprocessing.steam import saturation_pressure_bar_abs, saturation_temperature_c
from reprocessing.trace import STANDARD_AMBIENT_MBAR, is_coarse, parse_trace

SAMPLE = listed(number(), least=2, most=2)


def compute_lethality(document: object) -> dict[str, Any]:
    """A0 and F0 with their floors, of samples as given or of a CSV trace after cleaning.

    Raises:
        ValueError: the document, or the file it names, cannot be read.
    """
    values = read(document, {}, {"samples": listed(SAMPLE, least=2), "csv": text})
    _check_one_of(values, "samples", "csv")
    if "samples" in values:
        times_s, temperatures_c = zip(*values["samples"], strict=True)
        found = lethality.of_samples(times_s, temperatures_c)
        coarse = found.median_step_s is not None and is_coarse(found.median_step_s)
        flags = ["coarse"] if coarse else []
    else:
        # Lethality needs no pressure, so what is added to gauge readings does not matter here.
        trace = parse_trace(_content(Path(values["csv"])), ambient_mbar=STANDARD_AMBIENT_MBAR)
        found, flags = lethality.of_trace(trace), list(trace.flags)
    return {
        "a0_s": found.a0_s,
        "f0_min": found.f0_min,
        "floor_a0_s": found.floor_a0_s,
        "floor_f0_min": found.floor_f0_min,
        "coarsest_step_s": found.coarsest_step_s,
        "flags": flags,
    }


def compute_steam(document: object) -> dict[str, Any]:
    """Saturation pressure of temperatures, or saturation temperature of absolute pressures.

    Raises:
        ValueError: the document cannot be read, or a value is outside the saturation line.
    """
    values = read(document, {}, {"temperature_c": listed(number()), "pressure_bar_abs": listed(number())})
    _check_one_of(values, "temperature_c", "pressure_bar_abs")
    if "temperature_c" in values:
        return {"pressure_bar_abs": saturation_pressure_bar_abs(values["temperature_c"]).tolist()}
    return {"temperature_c": saturation_temperature_c(values["pressure_bar_abs"]).tolist()}


def _check_one_of(values: dict[str, Any], one: str, other: str) -> None:
    if len(values) != 1:
        count = "both" if values else "neither"
        raise ValueError(f'Cannot read the document: it has {count} of "{one}" and "{other}", must have one.')


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as refusal:
        raise ValueError(f"Cannot read {path}: {refusal.strerror}.") from refusal
    except ValueError as refusal:  # what no path can hold, such as a zero byte
        raise ValueError(f"Cannot read {str(path)!r}: {refusal}.") from refusal


COMPUTATIONS = {"lethality": compute_lethality, "steam": compute_steam}

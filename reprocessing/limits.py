"""What a programme demands of a cycle, and what a low-temperature machine records of its phases."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite


@dataclass(frozen=True, slots=True)
class VacuumLimits:
    """What a steam programme demands of its vacua; each pair may be missing.

    Args:
        pulses: least count of evacuations before the plateau; None where the programme names none.
        pulse_mbar: depth that each must reach [mbar absolute].
        drying_s: least continuous time at the drying depth after the plateau [s]; None where it names none.
        drying_mbar: that depth [mbar absolute].

    Raises:
        ValueError: half of a pair is missing, or a limit is not above zero.
    """

    pulses: int | None = None
    pulse_mbar: float | None = None
    drying_s: float | None = None
    drying_mbar: float | None = None

    def __post_init__(self) -> None:
        if (self.pulses is None) != (self.pulse_mbar is None) or (self.drying_s is None) != (self.drying_mbar is None):
            raise ValueError("A depth of vacuum comes together with its count or its time.")
        given = [
            limit for limit in (self.pulses, self.pulse_mbar, self.drying_s, self.drying_mbar) if limit is not None
        ]
        if not all(limit > 0 for limit in given):
            raise ValueError("Each limit of a vacuum must be above 0.")


NO_VACUUM = VacuumLimits()


@dataclass(frozen=True, slots=True)
class SteamLimits:
    """What a steam programme demands of a cycle.

    Args:
        set_c: sterilising temperature, the lower edge of the band [°C].
        band_k: width of the band above it [K].
        hold_s: least continuous time with every probe inside the band [s].
        equilibration_max_s: longest time from the first probe at the set temperature to the last [s].
        probe_spread_k: greatest difference between probes on the plateau [K].
        saturation_k: greatest difference between measured and theoretical temperature [K].
        source: where the limits come from.
        confirm_locally: the source is not settled; the unit must confirm the limits.
        vacuum: what it demands before and after the plateau.

    Raises:
        ValueError: a limit is not above zero, or the source is empty.
    """

    set_c: float
    band_k: float
    hold_s: float
    equilibration_max_s: float
    probe_spread_k: float
    saturation_k: float
    source: str
    confirm_locally: bool = True
    vacuum: VacuumLimits = NO_VACUUM

    def __post_init__(self) -> None:
        _check(
            self.source,
            set_c=self.set_c,
            band_k=self.band_k,
            hold_s=self.hold_s,
            equilibration_max_s=self.equilibration_max_s,
            probe_spread_k=self.probe_spread_k,
            saturation_k=self.saturation_k,
        )


@dataclass(frozen=True, slots=True)
class WashLimits:
    """What a washer-disinfector programme demands of a cycle.

    Thermal disinfection is shown by A0, or by a least temperature held for a least time where the programme
    names one: either will do (ISO 15883-1:2006, 4.3.1).

    Args:
        a0_required_s: least A0 [s].
        source: where the limits come from.
        hold_c: least temperature of the alternative [°C]; None where the programme names none.
        hold_s: least time without a break with every probe at it [s].
        record_required: the machine's phase and dosing record belongs to the evidence.
        confirm_locally: the source is not settled; the unit must confirm the limits.

    Raises:
        ValueError: a limit is not above zero, half of the alternative is missing, or the source is empty.
    """

    a0_required_s: float
    source: str
    hold_c: float | None = None
    hold_s: float | None = None
    record_required: bool = True
    confirm_locally: bool = True

    def __post_init__(self) -> None:
        if (self.hold_c is None) != (self.hold_s is None):
            raise ValueError("A least temperature and the time it is held come together.")
        hold = {} if self.hold_c is None or self.hold_s is None else {"hold_c": self.hold_c, "hold_s": self.hold_s}
        _check(self.source, a0_required_s=self.a0_required_s, **hold)


@dataclass(frozen=True, slots=True)
class PhaseLimit:
    """What one phase of a low-temperature cycle must show.

    Args:
        phase: the phase, by the name that the machine records.
        quantity: what is recorded of it ("duration", "chamber pressure").
        unit: the unit of both limits.
        least: least value; None where there is none.
        most: greatest value; None where there is none.

    Raises:
        ValueError: a name is empty, there is no limit at all, or the least is above the greatest.
    """

    phase: str
    quantity: str
    unit: str
    least: float | None = None
    most: float | None = None

    def __post_init__(self) -> None:
        if not (self.phase and self.quantity and self.unit):
            raise ValueError("A phase limit needs a phase, a quantity and a unit.")
        if self.least is None and self.most is None:
            raise ValueError("A phase limit needs a least or a greatest value.")
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError("The least value of a phase limit must not be above the greatest.")


@dataclass(frozen=True, slots=True)
class PhaseReading:
    """What the machine recorded of one phase, in the unit named.

    Raises:
        ValueError: the value is not finite.
    """

    phase: str
    quantity: str
    unit: str
    value: float

    def __post_init__(self) -> None:
        if not isfinite(self.value):
            raise ValueError("A phase reading must be a finite number.")


def _check(source: str, **limits: float) -> None:
    if not source:
        raise ValueError("Limits need their source.")
    for name, limit in limits.items():
        if not limit > 0:
            raise ValueError(f"The limit {name} is {limit:g}, must be above 0.")

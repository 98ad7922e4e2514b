"""Flicker of a strip's own switching, by the lines of IEEE 1789-2015 for modulation of light against its frequency.

    modulation = (most − least) / (most + least)
    low risk    at most 0.025 %·f below 90 Hz, 0.08 %·f from 90 Hz, anything above 1250 Hz
    no effect   at most 0.01 %·f below 90 Hz, 0.0333 %·f from 90 Hz, anything above 3000 Hz

A strip that dims by switching its LEDs fully on and off has a modulation of 1 at every code but 0 and full. The figures of the standard
are from a public secondary copy of it; see tests/reference/flashing_sources.md.

Leaves out: what moving the eyes shows (rows of dots in a glance along a bare strip) and cameras, which see bars at frequencies that no
eye does.
"""

from __future__ import annotations

from dataclasses import dataclass

from preview.scene.model import Scene

__all__ = ["StripFlicker", "low_risk_modulation", "no_effect_modulation", "strip_flicker"]

LOW_RISK_HZ, NO_EFFECT_HZ = 1250.0, 3000.0


def low_risk_modulation(hertz: float) -> float:
    """Largest modulation (0..1) of low risk at a frequency.

    >>> round(low_risk_modulation(100.0), 4), low_risk_modulation(1250.0)
    (0.08, 1.0)
    """
    return 1.0 if hertz >= LOW_RISK_HZ else hertz * (0.00025 if hertz < 90 else 0.0008)


def no_effect_modulation(hertz: float) -> float:
    """Largest modulation (0..1) without observable effect at a frequency.

    >>> round(no_effect_modulation(120.0), 3), no_effect_modulation(3000.0)
    (0.04, 1.0)
    """
    return 1.0 if hertz >= NO_EFFECT_HZ else hertz * (0.0001 if hertz < 90 else 1.0 / NO_EFFECT_HZ)


@dataclass(frozen=True)
class StripFlicker:
    """Where a strip's switching lies: `region` is "no effect", "low risk" or "above low risk"."""

    strip: str
    hertz: float
    modulation: float
    region: str

    @property
    def says(self) -> str:
        """One sentence for a person who reads the plan."""
        if self.region == "no effect":
            return f"dims by switching at {self.hertz:g} Hz: no effect of it is observable (above {NO_EFFECT_HZ:g} Hz)"
        if self.region == "low risk":
            return (
                f"dims by switching at {self.hertz:g} Hz: low risk (above {LOW_RISK_HZ:g} Hz), "
                f"though some see it when their eyes move (up to {NO_EFFECT_HZ:g} Hz)"
            )
        return (
            f"dims by switching at {self.hertz:g} Hz, with a modulation of {100 * self.modulation:.0f} %; low risk is up to "
            f"{100 * low_risk_modulation(self.hertz):.3g} % at that frequency, or any above {LOW_RISK_HZ:g} Hz"
        )

    @property
    def do(self) -> str:
        """What would mend it; empty where nothing need be done."""
        if self.region != "above low risk":
            return ""
        return (
            f"choose a strip that switches at {LOW_RISK_HZ:g} Hz or more where people stay or work, "
            "or ask someone licensed to judge flicker"
        )

    @property
    def source(self) -> str:
        """Where the limits are from."""
        return "IEEE 1789-2015"


def strip_flicker(scene: Scene) -> tuple[StripFlicker, ...]:
    """One for each strip type of a scene whose `switching_hz` is given; the others say nothing of themselves."""
    found = []
    for name, strip in scene.strip.items():
        if strip.switching_hz is not None:
            hertz, modulation = float(strip.switching_hz), 1.0
            region = "above low risk"
            if modulation <= no_effect_modulation(hertz):
                region = "no effect"
            elif modulation <= low_risk_modulation(hertz):
                region = "low risk"
            found.append(StripFlicker(name, hertz, modulation, region))
    return tuple(found)

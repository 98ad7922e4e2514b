"""Rules about a strip's label: LEDs that fit its volts, groups that fit its metres, and runs that hold whole groups.

A group's LEDs stand in a row, or in a few rows side by side. A red LED takes about 2 V, a green, blue or white one about 3 V, and the
group's driver half a volt. So 5 V light one, 12 V three, 24 V six to eight. Common practice, no source. Where the plan gives the voltage
curves themselves those are asked, not the rule.
"""

from __future__ import annotations

from collections.abc import Iterator

from preview.power.finding import PRACTICE, Finding
from preview.scene.layout import group_count, path_length_m
from preview.scene.model import Scene

__all__ = ["label_findings", "row_fits"]

LED_V = 3.0
"""What a green, a blue or a white LED takes, about."""

LEAST_LED_V, DRIVER_V = 2.9, 0.5
"""The least of such LEDs, and of a group's driver."""

LEAST_SHARE = 0.5
"""Part of the volts that a row of LEDs takes at least: of less, more turns into heat than into light."""

LONE_V = 12.0
"""Volts up to which strips with a single LED a group are made."""

GAP_M, WIDE_GAP_M = 0.01, 0.05
"""A dark end of a run shorter than the first says nothing to anybody, one longer than the second is a gap in the light."""

CUTS = "strips are cut between groups; " + PRACTICE

USUAL = {5.0: "one LED", 12.0: "three LEDs", 24.0: "six to eight LEDs"}


def row_fits(volts: float, leds: int) -> bool:
    """Whether so many LEDs in a row suit a voltage.

    >>> [n for n in range(1, 12) if row_fits(12, n)], [n for n in range(1, 12) if row_fits(24, n)], row_fits(5, 1)
    ([2, 3], [4, 5, 6, 7, 8], True)
    """
    return LEAST_SHARE * volts <= LED_V * leds and LEAST_LED_V * leds + DRIVER_V <= volts


def label_findings(scene: Scene) -> list[Finding]:
    """What is to be said of the labels of the strips that are used, and of what is left over at the runs' ends."""
    used = list(dict.fromkeys(run.strip for run in scene.run))
    found = [
        finding for name in used for finding in (*_rows(scene, name), *_curves(scene, name), *_divides(scene, name))
    ]
    return [*found, *_ends(scene)]


def _rows(scene: Scene, name: str) -> Iterator[Finding]:
    """LEDs of a group that no row, and no two rows or more side by side, would light at these volts."""
    strip = scene.strip[name]
    volts, leds = strip.volts, strip.leds_per_group
    if f"strip.{name}.green.full_v" not in scene.assumed or (leds == 1 and LED_V <= volts <= LONE_V):
        return
    if any(leds % row == 0 and row_fits(volts, row) for row in range(2 if leds > 1 else 1, leds + 1)):
        return
    row_v = LED_V * leds
    count = "one LED" if leds == 1 else f"{leds} LEDs"
    if row_v < volts:
        says = f"{count} a group on {volts:g} V: a row of them takes about {row_v:g} V, the rest would turn into heat"
    else:
        says = f"{count} a group on {volts:g} V: a row of them takes about {row_v:g} V, more than there is"
    usual = f"; on {volts:g} V a group mostly has {USUAL[volts]}" if volts in USUAL else ""
    do = f"read the label again, and count the LEDs between two cut marks{usual}"
    yield Finding(
        "caution", f"strip {name}", says, do, "about 2 V for a red LED, 3 V for a green, blue or white one; " + PRACTICE
    )


def _curves(scene: Scene, name: str) -> Iterator[Finding]:
    """Colours that the strip's own volts never bring to their rated current."""
    strip = scene.strip[name]
    colours = {"red": strip.red, "green": strip.green, "blue": strip.blue, "white": strip.white}
    never = {name: one.full_v for name, one in colours.items() if one and one.full_v > strip.volts * (1 + 1e-9)}
    if never:
        listed = " and ".join(f"{colour} ({volts:g} V)" for colour, volts in never.items())
        says = f"rated {strip.volts:g} V, and its full_v is above that for {listed}: never at rated current"
        do = "read volts and full_v again, or measure them (`covecast fit`)"
        yield Finding("caution", f"strip {name}", says, do, "strip.volts and full_v of the plan")


def _divides(scene: Scene, name: str) -> Iterator[Finding]:
    """Groups that neither a metre nor a reel holds a whole number of."""
    strip = scene.strip[name]
    a_metre = strip.leds_per_m / strip.leds_per_group
    a_reel = a_metre * strip.reel_m
    if min(abs(count - round(count)) for count in (a_metre, a_reel)) > 0.02:
        says = (
            f"{strip.leds_per_m:g} LEDs a metre do not divide by {strip.leds_per_group}: {a_metre:.4g} groups a metre,"
            f" {a_reel:.4g} on a reel of {strip.reel_m:g} m"
        )
        do = "count the LEDs between two cut marks, and the cut marks on a metre: a reel holds whole groups"
        yield Finding("caution", f"strip {name}", says, do, PRACTICE)


def _ends(scene: Scene) -> Iterator[Finding]:
    """Runs that end short of their path, as a strip is cut between groups only: wide gaps run by run, narrow ones all at once."""
    short: dict[str, float] = {}
    for run in scene.run:
        strip = scene.strip[run.strip]
        groups, path_m = group_count(run, strip), path_length_m(run)
        over_m = path_m - groups * strip.cut_m
        if over_m > WIDE_GAP_M:
            says = f"{groups} groups take {groups * strip.cut_m:.3f} m of its {path_m:.3f} m: the last {1000 * over_m:.0f} mm stay dark"
            do = f"end the channel there, centre the strip in it, or make the path {(groups + 1) * strip.cut_m:.3f} m for one group more"
            yield Finding("caution", f"run {run.name}", says, do, CUTS)
        elif over_m > GAP_M:
            short[run.name] = over_m
    if short:
        figures = ", ".join(f"{1000 * over_m:.0f}" for over_m in short.values())
        says = f"whole groups end {figures} mm short of {'its path' if len(short) == 1 else 'their paths'}: so much stays dark"
        do = f"end the {'channel' if len(short) == 1 else 'channels'} there, or centre the strip"
        yield Finding("note", ", ".join(f"run {name}" for name in short), says, do, CUTS)

"""The first draft of a scene: one straight run along the back wall, as commented text that teaches the format.

Everything that a later step needs is in it, so that every command works on it as it is. Figures that come from no label
are marked, with what to measure in their place.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

from preview.scene.fill import typical_curve_v, typical_rail, typical_watts_per_m

__all__ = ["Draft", "draft_text"]


@dataclass(frozen=True)
class Draft:
    """What is known on the first day: the strip's label, the length to cover and the supply.

    `watts_per_m` None means that the label does not tell; `channel_depth_mm` None means bare strip;
    `fuse_a` None that no fuse is written.
    """

    title: str
    volts: float
    leds_per_m: float
    leds_per_group: int
    length_m: float
    amps: float
    watts_per_m: float | None = None
    channel_depth_mm: float | None = None
    rgbw: bool = False
    fuse_a: float | None = None
    cable_mm2: float = 1.5

    @property
    def assumed_watts_per_m(self) -> float:
        """Power of a metre fully on: from the label, or typical of strips of this voltage."""
        if self.watts_per_m is not None:
            return self.watts_per_m
        return typical_watts_per_m(self.volts, self.leds_per_m, self.leds_per_group, 4 if self.rgbw else 3)

    @property
    def full_a(self) -> float:
        """Amps of the whole run with every colour fully on and nothing lost on the way."""
        return self.assumed_watts_per_m * self.length_m / self.volts


def draft_text(draft: Draft) -> str:
    """The text of the scene file. Lengths are kept to a millimetre; the run starts 0.3 m from the left wall."""
    side_m, depth_m, height_m = 0.3, 3.2, 2.5
    width_m = max(2.4, draft.length_m + 2 * side_m)
    start_m = (width_m - draft.length_m) / 2
    back_m = 1.15 * max(width_m / 2, 0.9 * height_m) / math.tan(math.radians(30))
    wall_m, run_z_m = depth_m - 0.05, 2.2
    middle = _number(round(width_m / 2, 2))
    watts = draft.assumed_watts_per_m
    given = draft.watts_per_m is not None
    watts_note = (
        "from the label: every colour fully on"
        if given
        else "NOT from a label: typical of such a strip. Measure a metre, or read the label"
    )
    cut_mm = 1000 * draft.leds_per_group / draft.leds_per_m
    colours = "rgbw" if draft.rgbw else "rgb"
    white = "\n# [strip.main.white]\n# kelvin = 4000                 # of the white LED" if draft.rgbw else ""
    channel = _CHANNEL.format(depth=_number(draft.channel_depth_mm)) if draft.channel_depth_mm is not None else ""
    in_channel = '\nchannel = "profile"' if channel else '\n# channel = "profile"          # bare strip so far'
    fuse = (
        "# fuse_a = 5                    # a fuse in the positive conductor"
        if draft.fuse_a is None
        else f"fuse_a = {_number(draft.fuse_a)} # in the positive conductor, next to the supply: it protects the cable"
    )
    dark_v, full_v = typical_curve_v("red", draft.volts, draft.leds_per_group)
    text = _TEXT.format(
        fuse=fuse,
        mm2=_number(draft.cable_mm2),
        rail=_number(typical_rail(draft.volts)),
        dark=_number(round(dark_v, 1)),
        full=_number(round(full_v, 1)),
        title=_quoted(draft.title),
        width=_number(width_m),
        depth=_number(depth_m),
        height=_number(height_m),
        eye=f"[{middle}, {_number(round(depth_m - max(back_m, depth_m + 0.3), 2))}, 1.55]",
        look=f"[{middle}, {_number(depth_m)}, 1.3]",
        volts=_number(draft.volts),
        leds_per_m=_number(draft.leds_per_m),
        leds_per_group=draft.leds_per_group,
        cut_mm=f"{cut_mm:.1f}",
        colours=colours,
        order="grbw" if draft.rgbw else "grb",
        watts=f"watts_per_m = {_number(watts)} # {watts_note}",
        white=white,
        channel=channel,
        in_channel=in_channel,
        amps=_number(draft.amps),
        wall=_number(wall_m),
        z=_number(run_z_m),
        start=_number(start_m),
        end=_number(start_m + draft.length_m),
        length=_number(draft.length_m),
    )
    return _aligned(text)


def _number(value: float) -> str:
    """A number as TOML: a whole one without its point, any other to nine figures after it, which keeps every group."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return text if float(text) > 0 or value <= 0 else repr(value)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _aligned(text: str) -> str:
    """With the comments beside the keys in one column."""
    rows = []
    for row in text.splitlines():
        code, mark, comment = row.partition(" # ")
        plain = row.startswith(("#", "title")) or not mark
        rows.append(row if plain else f"{code.rstrip():<31} # {comment}")
    return "\n".join(rows) + "\n"


_CHANNEL = """
# The aluminium channel and its cover. Only the depth was given: take the others from its data sheet.
[channel.profile]
depth_mm = {depth}                   # LED surface to the inside of the cover
width_mm = 12                   # luminous width of the cover
cover = "opal"                  # clear, frosted or opal
transmission = 0.7              # light out of the cover over light from the strip
spread_mm = 3                   # scatter inside the cover
stock_m = 2                     # sold length
"""

_TEXT = """\
# A first draft: one straight run along the back wall. Change anything; every key is checked when the file is read.
#
# Lengths are metres unless the key says otherwise. x runs along the back wall to the right, y into the room away from
# the viewer's side, z up; the room's corner at front, left, floor is the origin.

format = 1
title = {title}

[room]                          # measure: width, depth, height
size_m = [{width}, {depth}, {height}]
ambient_lux = 5                 # light already there: evening with one lamp 5, office 300, by a window at noon 1000 and more
ambient_k = 2700                # its colour temperature: lamp 2700, daylight 6500

[viewer]                        # the client's eye, and the point it looks at
eye_m = {eye}
look_m = {look}
field_deg = 60

# The strip, by its label. What the label leaves out is filled with typical values, which are listed wherever figures are
# shown. A bench measurement beats them: the resistance of its two rails, and current and light of each colour.
[strip.main]
volts = {volts}
leds_per_m = {leds_per_m}
leds_per_group = {leds_per_group}              # LEDs that one address drives together: {cut_mm} mm; cut it between groups only
colours = "{colours}"
colour_order = "{order}"            # the order on its data line
{watts}
reel_m = 5                      # sold length
# rail_milliohm_per_m = [{rail}, {rail}] # measure: strip alone, far end shorted, bench supply limited to 1 A, volts along each rail
# idle_milliamp_per_group = 0.8 # measure: amps with everything dark, over the number of groups
# [strip.main.red]              # measure one group: likewise green and blue
# milliamp = 12                 # with this colour fully on
# dark_v = {dark}                  # volts across the group at which it goes out
# full_v = {full}                  # volts from which its current no longer rises{white}
{channel}
[supply.psu]
volts = {volts}                      # measure at its terminals with nothing on it
amps = {amps}                        # rated
output_milliohm = 5             # measure: volts lost at its terminals over amps
at_m = [0.1, {wall}, 0.3]

[[run]]
name = "back wall"
strip = "main"{in_channel}
path_m = [[{start}, {wall}, {z}], [{end}, {wall}, {z}]]  # from its data end
aim = [0, 0, 1]                 # where the LEDs face: up, at the ceiling

[[feed]]                        # where power enters; add more of them where the far end sags
from = "psu"
run = "back wall"
at_m = 0                        # along the run; the other end is {length}
cable = {{ mm2 = {mm2}, length_m = 2.5 }}  # one way; both conductors are counted. Or awg = 16
contact_milliohm = 5            # terminals and solder, in each conductor
{fuse}

[[look]]
name = "evening white"
effect = "steady"
seconds = 4
level = 1.0                     # 0 to 1, applied to every code

[[look]]
name = "dusk"
effect = "gloaming"
seconds = 20
level = 1.0

[[look]]
name = "running water"
effect = "millrace"
seconds = 12
level = 0.8

[limits]                        # what the plan must keep to
supply_fraction = 0.8           # of the supply's rating, for hours on end
colour_steps = 4                # largest colour shift from drop
dimming = 0.2                   # largest loss of light from drop
flashes_per_s = 3

[assume]
conductor_c = 40                # temperature of every conductor
data_frames_per_s = 30
"""

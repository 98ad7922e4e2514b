"""Typical values for what a label leaves out, and a room, an eye and a look where the plan gives none.

Works on the tables as they were read, before the models are built, and lists every key it filled. It is forgiving: where
a value is of the wrong kind it fills as if it were not there, so that reading can report that one fault and no echo of it.

Source of the figures: common practice, no source. A bench measurement of the strip in hand beats every one of them.
Leaves out: strips that run several LED strings side by side in one group from more than one driver.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, TypeGuard

from preview.scene.colours import colours_of
from preview.scene.white import planckian_xy

__all__ = ["assumed_words", "fill", "leds_in_series", "typical_curve_v", "typical_rail", "typical_watts_per_m"]

# common practice, no source: rails of flexible strip, one conductor, by rated voltage (V, mΩ/m)
_RAILS = ((5.0, 60.0), (12.0, 70.0), (24.0, 45.0))
_IDLE_MILLIAMP = 0.8  # common practice, no source: the driver chip of a group with every colour dark
_DRIVER_V = 0.3  # common practice, no source: what the driver needs on top of its LEDs, once a group

# common practice, no source: per LED in series: first light (V), rated current (V), lumen per mA, chromaticity
_LED: dict[str, tuple[float, float, float, tuple[float, float]]] = {
    "red": (1.80, 2.35, 0.058, (0.690, 0.308)),
    "green": (2.65, 3.30, 0.130, (0.170, 0.720)),
    "blue": (2.65, 3.30, 0.025, (0.135, 0.055)),
    "white": (2.65, 3.30, 0.300, (0.380, 0.377)),
}
_WHITE_K = 4000.0
_FULL_BY = 0.95  # a typical strip reaches its rated current at this part of its rated voltage at the latest


def leds_in_series(volts: float, leds_per_group: int) -> int:
    """LEDs that share one current in a group: all of them, or as many as the rated voltage can light.

    >>> [leds_in_series(5, 1), leds_in_series(12, 3), leds_in_series(24, 6), leds_in_series(24, 8)]
    [1, 3, 6, 7]
    """
    can_light = math.floor((volts - _DRIVER_V) / _LED["blue"][1] + 1e-9)
    return max(1, min(leds_per_group, can_light))


def typical_rail(volts: float) -> float:
    """Resistance of a rail of a strip of that voltage, in milliohm a metre."""
    return min(_RAILS, key=lambda row: abs(math.log(row[0] / volts)))[1]


def typical_curve_v(colour: str, volts: float, leds_per_group: int) -> tuple[float, float]:
    """Volts across a group at which a colour goes out, and from which its current no longer rises.

    >>> [round(v, 2) for v in typical_curve_v("red", 12, 3)]
    [5.7, 7.35]
    """
    dark_v, full_v = _row_v(colour, leds_in_series(volts, leds_per_group))
    full_v = min(full_v, _FULL_BY * volts)
    return (dark_v if dark_v < 0.95 * full_v else 0.8 * full_v), full_v


def _row_v(colour: str, series: int) -> tuple[float, float]:
    """Volts at first light and at rated current of so many LEDs in a row and their driver."""
    dark_led_v, full_led_v, _, _ = _LED[colour]
    return series * dark_led_v + _DRIVER_V, series * full_led_v + _DRIVER_V


def typical_watts_per_m(volts: float, leds_per_m: float, leds_per_group: int, colours: int = 3) -> float:
    """Power of a metre fully on where no label tells: 12 mA a colour and group, which is common practice without a source.

    >>> round(typical_watts_per_m(12, 60, 3), 1)
    8.8
    """
    return volts * (colours * 12.0 + _IDLE_MILLIAMP) / 1000 * leds_per_m / leds_per_group


def fill(raw: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A copy of the tables of a scene file with everything filled in, and the dotted keys that were filled."""
    scene = dict(raw)
    assumed: list[str] = []
    if isinstance(raw.get("strip"), dict):
        scene["strip"] = {
            name: _fill_strip(strip, f"strip.{name}", assumed) if isinstance(strip, dict) else strip
            for name, strip in raw["strip"].items()
        }
    if "room" not in scene:
        scene["room"] = _room_around(raw)
        assumed.append("room")
    if "viewer" not in scene:
        scene["viewer"] = _viewer_of(scene["room"])
        assumed.append("viewer")
    if scene.get("look", []) == []:
        scene["look"] = [{"name": "steady", "effect": "steady", "level": 1.0}]
        assumed.append("look")
    return scene, tuple(assumed)


def _number(value: object, otherwise: float) -> float:
    """The value where it is a finite number above 0, else `otherwise`."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e6:
        return otherwise
    return float(value)


def _fill_strip(raw: Mapping[str, Any], key: str, assumed: list[str]) -> dict[str, Any]:
    """One strip type, complete. Its label must be there; what is missing of it is left missing for the reader to name."""
    strip = dict(raw)

    def put(table: dict[str, Any], name: str, value: object, prefix: str = key) -> None:
        if name not in table:
            table[name] = value
            assumed.append(f"{prefix}.{name}")

    volts = _number(raw.get("volts"), 12.0)
    per_group = max(1, int(_number(raw.get("leds_per_group"), 3)))
    cut_m = per_group / _number(raw.get("leds_per_m"), 60.0)
    colours = colours_of(raw.get("colours") == "rgbw")

    rail = typical_rail(volts)
    put(strip, "colours", "rgb")
    put(strip, "colour_order", "grbw" if len(colours) == 4 else "grb")
    put(strip, "reel_m", 5.0)
    put(strip, "rail_milliohm_per_m", [rail, rail])
    put(strip, "regulated", True)

    given = {c: t["milliamp"] for c in colours if isinstance(t := raw.get(c), dict) and "milliamp" in t}
    total = _number(raw.get("watts_per_m"), 0.0) * cut_m / volts * 1000
    if "idle_milliamp_per_group" not in raw:
        idle = min(_IDLE_MILLIAMP, 0.05 * total) if total else _IDLE_MILLIAMP
        put(strip, "idle_milliamp_per_group", idle)
    idle = _number(strip["idle_milliamp_per_group"], 0.0)
    known = [_number(value, 0.0) for value in given.values()]
    if "milliamp" in raw:
        each = _number(raw["milliamp"], 12.0)
    elif total and len(given) < len(colours):
        each = max(0.0, total - idle - sum(known)) / (len(colours) - len(given))
    else:
        each = sum(known) / len(known) if known else 12.0

    series = leds_in_series(volts, per_group)
    for colour in colours if "white" not in raw else (*colours[:3], "white"):
        if isinstance(raw.get(colour, {}), dict):
            strip[colour] = _fill_colour(raw.get(colour, {}), colour, f"{key}.{colour}", assumed, each, series, volts)
    return strip


def _fill_colour(
    raw: Mapping[str, Any], colour: str, key: str, assumed: list[str], milliamp: float, series: int, volts: float
) -> dict[str, Any]:
    """One colour of a group: its current as the label shares it out, its knee and flux by the LEDs in series."""
    dark_led_v, full_led_v, lumen_per_milliamp, xy = _LED[colour]
    table = dict(raw)
    if "milliamp" not in table:
        table["milliamp"] = milliamp
        assumed.append(f"{key}.milliamp")
    full_v = _number(raw.get("full_v"), 0.0)
    dark_v = _number(raw.get("dark_v"), 0.0)
    row_dark_v, row_full_v = _row_v(colour, series)
    if "full_v" not in table:
        typical_v = min(row_full_v, _FULL_BY * volts)
        full_v = typical_v if typical_v > dark_v else dark_v + series * (full_led_v - dark_led_v)
        table["full_v"] = full_v
        assumed.append(f"{key}.full_v")
    if "dark_v" not in table:
        table["dark_v"] = row_dark_v if row_dark_v < 0.95 * full_v else 0.8 * full_v
        assumed.append(f"{key}.dark_v")
    if "lumen" not in table:
        table["lumen"] = lumen_per_milliamp * _number(table["milliamp"], 0.0) * series
        assumed.append(f"{key}.lumen")
    if "xy" not in table:
        if colour == "white":
            if "kelvin" not in table:
                assumed.append(f"{key}.xy")
            kelvin = min(25000.0, max(1000.0, _number(table.get("kelvin"), _WHITE_K)))
            table["xy"] = [float(part) for part in planckian_xy(kelvin)]
        else:
            table["xy"] = list(xy)
            assumed.append(f"{key}.xy")
    return table


def _points(raw: Mapping[str, Any]) -> list[tuple[float, float, float]]:
    """Every well-formed corner of the runs and boxes of a plan."""
    runs = raw.get("run")
    boxes = raw.get("box")
    found: list[Any] = []
    for run in runs if isinstance(runs, list) else []:
        path = run.get("path_m") if isinstance(run, dict) else None
        found += path if isinstance(path, list) else []
    for box in boxes if isinstance(boxes, list) else []:
        if isinstance(box, dict):
            corner, size = box.get("corner_m"), box.get("size_m")
            if _is_point(corner) and _is_point(size):
                found.append([a + b for a, b in zip(corner, size, strict=True)])
    return [(p[0], p[1], p[2]) for p in found if _is_point(p)]


def _is_point(value: Any) -> TypeGuard[list[float]]:
    return (
        isinstance(value, list)
        and len(value) == 3
        and all(isinstance(v, int | float) and not isinstance(v, bool) and -1e4 < v < 1e4 for v in value)
    )


def _room_around(raw: Mapping[str, Any]) -> dict[str, Any]:
    """A room that the plan fits in: the same margin right as left, the back wall just behind the farthest run."""
    points = _points(raw)
    if not points:
        return {"size_m": [4.0, 3.0, 2.5]}
    left_m = min(point[0] for point in points)
    far = [max(point[axis] for point in points) for axis in range(3)]
    width_m = far[0] + min(max(left_m, 0.3), 1.5)
    depth_m = far[1] + 0.05 if far[1] > 1.5 else far[1] + 1.5
    size_m = [max(width_m, 2.0), depth_m, max(far[2] + 0.2, 2.5)]
    return {"size_m": [round(side_m, 3) for side_m in size_m]}


def _viewer_of(room: Any) -> dict[str, Any]:
    """An eye at standing height in the middle, far enough away to see the whole back wall."""
    size_m = room.get("size_m") if isinstance(room, dict) else None
    width_m, depth_m, height_m = size_m if isinstance(size_m, list) and _is_point(size_m) else [4.0, 3.0, 2.5]
    field_deg = 60.0
    back_m = 1.15 * max(width_m / 2, 0.9 * height_m) / math.tan(math.radians(field_deg / 2))
    away_m = max(back_m, depth_m + 0.3)
    return {
        "eye_m": [round(width_m / 2, 3), round(depth_m - away_m, 3), round(min(1.55, 0.62 * height_m), 3)],
        "look_m": [round(width_m / 2, 3), depth_m, round(0.47 * height_m, 3)],
        "field_deg": field_deg,
    }


_WORDS = {
    "rail_milliohm_per_m": "rails",
    "idle_milliamp_per_group": "idle current",
    "milliamp": "currents",
    "dark_v": "voltage curves",
    "full_v": "voltage curves",
    "lumen": "light",
    "xy": "chromaticities",
    "regulated": "regulation",
    "colours": "three colours",
    "colour_order": "colour order",
    "reel_m": "reel length",
}


def assumed_words(assumed: Iterable[str]) -> list[str]:
    """What was filled, for a person: one phrase a strip, without naming every key.

    >>> assumed_words(["strip.glow.rail_milliohm_per_m", "strip.glow.red.lumen", "strip.glow.blue.lumen", "viewer"])
    ['typical values for strip glow (rails, light)', 'a viewer of our own']
    """
    strips: dict[str, dict[str, None]] = {}
    others: list[str] = []
    for key in assumed:
        if key.startswith("strip."):
            name = key.removeprefix("strip.").rsplit(".", 1)[0]
            for colour in _LED:
                name = name.removesuffix(f".{colour}")
            last = key.rsplit(".", 1)[1]
            strips.setdefault(name, {})[_WORDS.get(last, last)] = None
        else:
            others.append(f"a {key} of our own")
    return [*(f"typical values for strip {name} ({', '.join(words)})" for name, words in strips.items()), *others]

"""From a look to the codes that are sent to the groups.

    look → effect → linear light (F, G, 3) → drive codes (F, G, C) uint8,   q = floor(255 · level · x + ½)

On a four-colour group the part that its white LED can give is taken out of the three. Let d be the drive of red,
green and blue that has the same XYZ as the white fully on (at rated current), d = P⁻ᵀ · XYZ_white with P the XYZ of
the three. Then x − w·d and w on the white give the XYZ of x for every w; w is the largest value that keeps all four
between 0 and 1. Leaves out: voltage, which is the network's business, and the strip's own switching.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from effects.kit import Place
from preview.looks.library import EffectError, Ready, looks_of, ready_look, where_raised
from preview.scene.faults import CovecastError, unknown
from preview.scene.layout import Floats, Layout
from preview.scene.model import Look, Scene

__all__ = [
    "Codes",
    "LightCaution",
    "channel_blocks",
    "channels_from_light",
    "clip_times",
    "drive_blocks",
    "drive_from_light",
    "find_look",
    "look_drive",
    "look_light",
    "look_times",
    "place_of",
]

Codes = NDArray[np.uint8]


class LightCaution(UserWarning):
    """An effect gave light outside 0..1, which was held to that range."""


def clip_times(seconds: float, frames_per_s: float) -> Floats:
    """Times (F,) in seconds of the frames of something of that length: 0, 1/rate, …, at least one.

    >>> clip_times(0.25, 10.0).tolist()
    [0.0, 0.1, 0.2]
    """
    frames = max(1, int(np.floor(seconds * frames_per_s + 0.5)))
    return np.asarray(np.arange(frames) / frames_per_s, dtype=np.float64)


def look_times(look: Look, frames_per_s: float) -> Floats:
    """Times (F,) in seconds of the frames of a look, over all its length."""
    return clip_times(look.seconds, frames_per_s)


def find_look(scene: Scene, name: str | None) -> Look:
    """The look of that name, `programme` for all in sequence, or with None the first. The error lists what there is."""
    if not scene.look:
        raise CovecastError(f"{scene.title}: the scene has no [[look]]; add one with name and effect")
    if name is None:
        return scene.look[0]
    for look in looks_of(scene):
        if look.name == name:
            return look
    known = [look.name for look in looks_of(scene)]
    raise CovecastError(f"{scene.title}: look: {unknown(name, known)}")


def place_of(scene: Scene, layout: Layout) -> Place:
    """What an effect is told of the plan: where the groups are and the colours that their strip has."""
    return Place(
        along_m=layout.along_m,
        run=layout.run_of,
        run_length_m=layout.length_m[layout.run_of],
        room_m=layout.centre_m,
        room_size_m=np.array(scene.room.size_m, dtype=np.float64),
        primaries=_usable(layout.lumen[:, :3, None] * layout.xyz_per_lumen[:, :3]),
        group_length_m=layout.group_length_m,
    )


def _usable(primaries: Floats) -> Floats:
    """Primaries (G, 3, 3) of which every group's three span a plane of colours; a colour without flux gets a trace."""
    flux = primaries[:, :, 1]
    floor = 1e-6 * np.maximum(flux.max(axis=1, keepdims=True), 1e-6)
    if (flux > floor).all():
        return primaries
    plain = np.array([[2.24, 1.0, 0.0065], [0.243, 1.0, 0.186], [2.7, 1.0, 16.3]])
    return np.asarray(np.where((flux > floor)[:, :, None], primaries, floor[:, :, None] * plain), dtype=np.float64)


def look_light(ready: Ready, place: Place, times_s: Floats, beyond: bool = False) -> Floats:
    """Linear light (F, G, 3), 0..1, of a look at times (F,); whatever its script does wrong is an EffectError.

    Light outside 0..1 is held to it, with a LightCaution that carries the script's file and line. `beyond`: times before the
    start and after the end are asked for on purpose, as for the seam of a loop.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    look, effect = ready.look, ready.effect
    outside = times[~((times >= 0) & (times <= look.seconds + 1e-9))]
    if outside.size and not beyond:
        raise CovecastError(f"look {look.name!r}: expected a time from 0 to {look.seconds:g} s, found {outside[0]:g} s")
    about = f"in look {look.name!r}"
    if times.size == 1:
        about += f" at {times[0]:g} s"
    try:
        found = effect.light(place, times, ready.dials, ready.seed)
    except CovecastError:  # from a look within a programme, which has said where
        raise
    except Exception as error:  # whatever a script may raise is the script's fault: say where, go on in the window
        line = where_raised(error, effect.file) or effect.line
        raise EffectError(f"{effect.file}:{line}: {about}: {type(error).__name__}: {error}") from error
    here = f"{effect.file}:{effect.line}: {about}: light() gave"
    shape = (times.size, place.groups, 3)
    if not isinstance(found, np.ndarray) or found.shape != shape or found.dtype.kind not in "fiu":
        what = f"{found.dtype} {found.shape}" if isinstance(found, np.ndarray) else type(found).__name__
        raise EffectError(f"{here} {what}, expected numbers of shape {shape}: frames, groups, red-green-blue")
    light = found.astype(np.float64, copy=False)
    low, high = float(light.min()), float(light.max())
    if not (np.isfinite(low) and np.isfinite(high)):
        frame, group, colour = (int(n) for n in np.argwhere(~np.isfinite(light))[0])
        raise EffectError(
            f"{here} {light[frame, group, colour]} for {('red', 'green', 'blue')[colour]} at {times[frame]:g} s, run "
            f"number {int(place.run[group])}, {place.along_m[group]:.3f} m along it; expected 0 to 1"
        )
    if low < 0.0 or high > 1.0:
        if low < -1e-9 or high > 1.0 + 1e-9:
            says = f"{here} {low:.4g} to {high:.4g}, expected 0 to 1; it was held to that"
            warnings.warn_explicit(says, LightCaution, effect.file, effect.line)
        light = np.clip(light, 0.0, 1.0)
    return light


def _white_share(layout: Layout) -> tuple[Floats, NDArray[np.bool_]]:
    """Drive (G, 3) of red, green and blue that equals the white fully on, and the groups (G,) that can use it."""
    three = layout.lumen[:, :3, None] * layout.xyz_per_lumen[:, :3]
    white = layout.lumen[:, 3, None] * layout.xyz_per_lumen[:, 3]
    usable = layout.has_white & (layout.lumen > 0).all(axis=1)
    equal = np.zeros((layout.groups, 3))
    equal[usable] = np.linalg.solve(np.swapaxes(three[usable], 1, 2), white[usable, :, None])[:, :, 0]
    return equal, usable


def channels_from_light(layout: Layout, light: Floats) -> Floats:
    """What each colour of a group gives (F, G, C), 0 to 1 and before any level, for linear light (F, G, 3)."""
    light = np.asarray(light, dtype=np.float64)
    if layout.colours == 3:
        return light
    channels = np.zeros((light.shape[0], layout.groups, layout.colours))
    equal, usable = _white_share(layout)
    share = np.where(usable, 1.0, 0.0) * np.ones((light.shape[0], 1))
    for colour in range(3):
        d, x = equal[:, colour], light[:, :, colour]
        limit = np.where(d > 1e-12, x, np.where(d < -1e-12, 1.0 - x, 1.0)) / np.where(np.abs(d) > 1e-12, np.abs(d), 1.0)
        share = np.minimum(share, limit)
    for colour in range(3):
        channels[:, :, colour] = np.clip(light[:, :, colour] - share * equal[:, colour], 0.0, 1.0)
    channels[:, :, 3] = share
    return channels


def drive_from_light(layout: Layout, light: Floats, level: float) -> Codes:
    """Codes (F, G, C) for linear light (F, G, 3) in 0..1 at a level in 0..1; a white that a group lacks gets 0."""
    codes: Codes = np.floor(255.0 * level * channels_from_light(layout, light) + 0.5).astype(np.uint8)
    return codes


def look_drive(scene: Scene, layout: Layout, look: Look, times_s: Floats, level: float | None = None) -> Codes:
    """Codes (F, G, C) uint8 of a look at times (F,) in seconds; `level` None: the look's own."""
    ready = ready_look(scene, look)
    light = look_light(ready, place_of(scene, layout), times_s)
    return drive_from_light(layout, light, _level(look, level))


def drive_blocks(
    scene: Scene, layout: Layout, look: Look, level: float | None = None, frames_per_block: int = 120
) -> Iterator[Codes]:
    """A whole look at the scene's data rate, in blocks (≤ frames_per_block, G, C): the same codes as asked at once."""
    ready, place = ready_look(scene, look), place_of(scene, layout)
    times = look_times(look, scene.assume.data_frames_per_s)
    for start in range(0, times.size, frames_per_block):
        light = look_light(ready, place, times[start : start + frames_per_block])
        yield drive_from_light(layout, light, _level(look, level))


def channel_blocks(
    scene: Scene, layout: Layout, look: Look, numbers_per_block: int = 600_000
) -> Iterator[tuple[Floats, Floats]]:
    """A whole look before any level, in blocks: times (F,) and channels (F, G, C); what the cap searches over."""
    ready, place = ready_look(scene, look), place_of(scene, layout)
    times = look_times(look, scene.assume.data_frames_per_s)
    frames = max(1, numbers_per_block // max(1, layout.groups * layout.colours))
    for start in range(0, times.size, frames):
        part = times[start : start + frames]
        yield part, channels_from_light(layout, look_light(ready, place, part))


def _level(look: Look, level: float | None) -> float:
    level = look.level if level is None else level
    if not 0.0 <= level <= 1.0:
        raise CovecastError(f"look {look.name!r}: expected a level from 0 to 1, found {level:g}")
    return level

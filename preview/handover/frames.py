"""A look as pictures: scene → codes → volts → light → picture, in blocks, with memory that does not grow with the clip.

A `Stage` is what every look of a scene shares: its arrays, its network, its drawn room at one size. A `Film` is one look on it, over the
time of one clip, under one exposure for the whole look, so that a part of a look is as bright as the same part of all of it.

A clip is played round and round. Where the look does not come back to its start by itself, the end is faded into what comes before the
start: in the last second the light of time t is mixed with that of t − length. Levels and drop are worked out of the mixed light, as a
controller would send it. Leaves out: sound, and anything faster than the frames.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from effects.kit import Place, ease
from preview.handover.video import Picture
from preview.light.colour import group_xyz
from preview.light.drawing import Drawing, renderer_of
from preview.light.exposure import Exposure
from preview.light.framing import framed
from preview.light.room_light import ambient_kelvin
from preview.looks.drives import Codes, clip_times, drive_from_light, look_light, place_of
from preview.looks.library import Ready, ready_look
from preview.power.network import Network, build
from preview.power.solve import solve_volts
from preview.power.strip import light_fraction
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats, Layout, lay_out
from preview.scene.model import Look, Scene

__all__ = ["SEAM_S", "Film", "Progress", "Stage", "film_of", "stage_of"]

Progress = Callable[[int, int], None]
"""Called with what is done and how much there is."""

SEAM_S = 1.0
"""Longest fade of a clip's end into its start."""

_EXPOSURE_TIMES = 24
_BLOCK_FLOATS = 1_500_000


@dataclass(frozen=True)
class Stage:
    """What every look of a scene shares, at one picture size (width, height)."""

    scene: Scene
    layout: Layout
    network: Network
    renderer: Drawing
    size: tuple[int, int]
    place: Place


def stage_of(scene: Scene, size: tuple[int, int], progress: Callable[[float], None] | None = None) -> Stage:
    """Lay a scene out and work out how light goes through its room, framed so that the room fills pictures of that size."""
    scene = framed(scene, size)
    layout = lay_out(scene)
    network = build(scene, layout)
    return Stage(scene, layout, network, renderer_of(scene, layout, size, progress), size, place_of(scene, layout))


@dataclass(frozen=True)
class Film:
    """One look over the time of a clip. Times are seconds from its start, 0 to `seconds`."""

    stage: Stage
    ready: Ready
    seconds: float
    frames_per_s: float
    level: float
    sag: bool
    ambient_lux: float
    fade_s: float
    exposure: Exposure

    @property
    def times(self) -> Floats:
        """Times (F,) of the clip's frames."""
        return clip_times(self.seconds, self.frames_per_s)

    @property
    def ambient_k(self) -> float:
        """Colour temperature of the room's own light, in kelvin: daylight where it is as bright as day."""
        return ambient_kelvin(self.stage.scene.room, self.ambient_lux)

    @property
    def frames(self) -> int:
        """Number of the clip's frames."""
        return int(self.times.size)

    @property
    def lasts_s(self) -> float:
        """How long the clip plays: a whole number of frames, within half a frame of `seconds`."""
        return self.frames / self.frames_per_s

    def light(self, times_s: Floats) -> Floats:
        """Linear light (F, G, 3) of the effect, with the seam."""
        light = look_light(self.ready, self.stage.place, times_s)
        late = times_s - (self.seconds - self.fade_s)
        late_frames = np.flatnonzero(late > 0) if self.fade_s > 0 else np.array([], dtype=np.intp)
        if late_frames.size:
            early = look_light(self.ready, self.stage.place, times_s[late_frames] - self.seconds, beyond=True)
            share = ease(late[late_frames] / self.fade_s)[:, None, None]
            light = light.copy()
            light[late_frames] += share * (early - light[late_frames])
        return light

    def codes(self, times_s: Floats) -> Codes:
        """Codes (F, G, C)."""
        return drive_from_light(self.stage.layout, self.light(times_s), self.level)

    def group_xyz(self, times_s: Floats) -> Floats:
        """Tristimulus values (F, G, 3) of each group, in lumen, at the volts it gets; at rated current where `sag` is off."""
        codes = self.codes(times_s)
        if not self.sag:
            return group_xyz(self.stage.layout, codes)
        volts = solve_volts(self.stage.network, codes)
        return group_xyz(self.stage.layout, codes, light_fraction(self.stage.layout, volts))

    def picture(self, time_s: float) -> Picture:
        """The picture (height, width, 3) of one moment."""
        xyz = self.group_xyz(np.array([time_s]))[0]
        return self.stage.renderer.picture(xyz, self.exposure, self.ambient_lux, ambient_k=self.ambient_k)

    def pictures(self, progress: Progress | None = None) -> Iterator[Picture]:
        """The clip's pictures (height, width, 3), one after another. It may be left at any time."""
        times = self.times
        for k, picture in enumerate(self.pictures_at(times), start=1):
            yield picture
            if progress is not None:
                progress(k, times.size)

    def pictures_at(self, times_s: Floats) -> Iterator[Picture]:
        """The pictures (height, width, 3) of some moments, one after another; memory does not grow with their number."""
        block = max(1, min(32, _BLOCK_FLOATS // (3 * max(1, self.stage.layout.groups))))
        for start in range(0, times_s.size, block):
            xyz = self.group_xyz(times_s[start : start + block])
            yield from self.stage.renderer.pictures(xyz, self.exposure, self.ambient_lux, self.ambient_k)

    def unlit(self) -> Picture:
        """The picture (height, width, 3) of the room in its own light alone, under the same exposure."""
        dark = np.zeros((self.stage.layout.groups, 3))
        return self.stage.renderer.picture(dark, self.exposure, self.ambient_lux, ambient_k=self.ambient_k)

    def sagging(self, sag: bool) -> Film:
        """The same film with or without the drop, under the same exposure."""
        return replace(self, sag=sag)


def _fade_s(ready: Ready, seconds: float, frames_per_s: float) -> float:
    """Length of the seam: none where the look stands still or the clip holds a whole number of its periods."""
    period = ready.period_s
    if period == 0.0:
        return 0.0
    if period is not None and abs(seconds - period * round(seconds / period)) < 0.5 / frames_per_s:
        return 0.0
    return min(SEAM_S, seconds / 4)


def film_of(
    stage: Stage,
    look: Look,
    *,
    seconds: float | None = None,
    frames_per_s: float = 25.0,
    level: float | None = None,
    sag: bool = True,
    ambient_lux: float | None = None,
    grey_cd_m2: float | None = None,
    seamless: bool = True,
) -> Film:
    """A look on a stage. What is None is the look's, or the scene's, own. `seamless`: fade the end into the start.

    `grey_cd_m2` is the luminance that becomes middle grey; None: worked out from all of the look.

    Raises CovecastError where `seconds` goes beyond the look, SceneFaults where the look's dials are wrong.
    """
    ready = ready_look(stage.scene, look)
    seconds = look.seconds if seconds is None else seconds
    if not 0 < seconds <= look.seconds + 1e-9:
        raise CovecastError(
            f"look {look.name!r}: expected more than 0 and at most its {look.seconds:g} s, found {seconds:g} s"
        )
    level = look.level if level is None else level
    if not 0 <= level <= 1:
        raise CovecastError(f"look {look.name!r}: expected a level from 0 to 1, found {level:g}")
    film = Film(
        stage=stage,
        ready=ready,
        seconds=seconds,
        frames_per_s=frames_per_s,
        level=level,
        sag=sag,
        ambient_lux=stage.scene.room.ambient_lux if ambient_lux is None else ambient_lux,
        fade_s=0.0,
        exposure=Exposure(1.0),
    )
    whole = np.arange(_EXPOSURE_TIMES) * (look.seconds / _EXPOSURE_TIMES)
    exposure = stage.renderer.exposure(film.group_xyz(whole), film.ambient_lux, film.ambient_k, grey_cd_m2)
    return replace(film, exposure=exposure, fade_s=_fade_s(ready, seconds, frames_per_s) if seamless else 0.0)

"""How fast the pictures are, against a floor measured in the same run: `python tests/bench/bench_light.py [GROUPS ...]`.

The floor is what no way of drawing can leave out: reading the transport once, one look-up of every pixel in the light maps
(`cv2.remap`), one look-up of every value in a table of bytes. All work on two threads where the library can. The look-up is taken with
three channels, as many as a colour has, and with four, for which OpenCV 5 takes less than half the time: the least floor is the sum with
whichever is quicker, and 2 times that is what a frame is held to.

Frames together are held to 3 times as fast a frame where the matrix is the limit. That is the line of the transport by itself. How near
whole pictures come to it follows from the transport's share in a picture drawn alone, printed beside them: look-up and printing take the
same time for every frame of a clip. The share grows with the groups and falls with the picture's size: with 5000 groups the matrix takes
most of a small picture, and whole pictures come to the same 3.

Rooms: the tea bar of the demo scenes (300 groups), and a hall with shelves and as many runs as it takes (other numbers). Times are the
middle of many frames, floor and frames in turn, so that a busy machine slows both; `cpu` is process time, all threads together, which other
programs on the machine change less. First pictures are taken in fresh processes, with an empty cache and with a full one.

With `--accuracy`: how far the pictures' light is from rays cast one by one, on the demo scenes; some minutes.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

BEGAN = time.perf_counter()
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself does

SIZE = (1280, 720)
CLIP = (640, 360)
SMALL = (320, 180)
TOGETHER = 32


def hall(groups: int) -> str:
    """A scene file: runs of up to 250 groups, one LED a group, 84 a metre, in coves along the walls and under shelves."""
    runs = max(1, round(groups / 250))
    count = [groups // runs + (k < groups % runs) for k in range(runs)]
    length = max(count) / 84
    wide, deep = max(4.0, length + 1.0), 5.0
    text = [
        'format = 1', 'title = "Hall"', '[room]', f"size_m = [{wide:.3f}, {deep}, 3.0]", "ambient_lux = 4",
        "[viewer]", f"eye_m = [{0.45 * wide:.3f}, -3.5, 1.6]", f"look_m = [{0.5 * wide:.3f}, {deep}, 1.2]", "field_deg = 62",
        "[strip.s]", "volts = 12", "leds_per_m = 84", "leds_per_group = 1", "watts_per_m = 10",
        "[channel.c]", "width_mm = 14", "depth_mm = 12", 'cover = "opal"', "transmission = 0.6", "spread_mm = 8",
    ]  # fmt: skip
    for k, groups_of_run in enumerate(count):
        row, column = k % 6, k // 6
        z, y = 0.35 + 0.45 * row, deep - 0.02 - 0.5 * column
        text += [
            f"[supply.u{k}]", "volts = 12", "amps = 60",
            "[[run]]", f'name = "run {k}"', 'strip = "s"', 'channel = "c"', "aim = [0, 0, -1]",
            f"path_m = [[0.5, {y - 0.12:.3f}, {z:.3f}], [{0.5 + groups_of_run / 84:.4f}, {y - 0.12:.3f}, {z:.3f}]]",
            "[[feed]]", f'from = "u{k}"', f'run = "run {k}"', "at_m = 0", "cable = { mm2 = 2.5, length_m = 1.0 }",
            "[[box]]", f'name = "shelf {k}"', f"corner_m = [0.4, {y - 0.25:.3f}, {z + 0.013:.3f}]",
            f"size_m = [{length + 0.2:.3f}, 0.27, 0.03]",
        ]  # fmt: skip
    text += ["[[box]]", 'name = "bench"', f"corner_m = [{0.3 * wide:.3f}, 1.2, 0]", "size_m = [1.6, 0.6, 0.45]"]
    text += ["[[look]]", 'name = "river"', 'effect = "millrace"', "seconds = 12", "level = 0.6"]
    return "\n".join(text) + "\n"


def scene_of(groups: int, folder: Path) -> str:
    if groups == 300:
        return "tea_bar"
    file = folder / f"hall{groups}.toml"
    file.write_text(hall(groups))
    return str(file)


def first_picture(name: str) -> None:
    """What a fresh process does until the first picture is there, meter included; prints seconds."""
    from preview.commands.options import load

    scene = load(name)
    imported = time.perf_counter()
    frame = Frame(scene)
    frame.picture(frame.meter(0.0))
    now = time.perf_counter()
    print(json.dumps({"process": now - BEGAN, "room": now - imported, "cpu": time.process_time()}))


class Frame:
    """One scene and everything that its frames need."""

    def __init__(self, scene) -> None:
        import numpy as np

        from preview.light.picture import Renderer
        from preview.looks.drives import place_of
        from preview.looks.library import looks_of, ready_look
        from preview.power.network import build
        from preview.scene.layout import lay_out

        self.scene, self.layout = scene, lay_out(scene)
        looks = looks_of(scene)
        self.look = next((look for look in looks if look.effect == "millrace"), looks[0])
        self.ready = ready_look(scene, self.look)
        self.place = place_of(scene, self.layout)
        self.network = build(scene, self.layout)
        self.volts = None
        self.renderer = Renderer(scene, self.layout, SIZE)
        times = self.look.seconds * (0.5 + np.arange(6)) / 6
        self.exposure = self.renderer.exposure(np.stack([self.meter(t) for t in times]))

    def meter(self, time_s: float):
        """Light of every group (G, 3) in lumen at one moment, through the network, with the figures that the window shows."""
        import numpy as np

        from preview.light.colour import group_xyz
        from preview.looks.drives import drive_from_light, look_light
        from preview.power.shift import dimming, steps
        from preview.power.solve import solve
        from preview.power.strip import light_fraction

        codes = drive_from_light(self.layout, look_light(self.ready, self.place, np.array([time_s])), self.look.level)
        state = solve(self.network, codes, self.volts)
        self.volts = state.group_v
        g = light_fraction(self.layout, state.group_v)
        dimming(self.layout, codes, g).max(), steps(self.layout, codes, g).max(), state.group_v.min(), state.supply_a
        return group_xyz(self.layout, codes, g)[0]

    def meters(self, times_s):
        """The same of many moments at once, as the window works a look out before it plays it: (F, G, 3)."""
        from preview.light.colour import group_xyz
        from preview.looks.drives import drive_from_light, look_light
        from preview.power.shift import dimming, steps
        from preview.power.solve import solve
        from preview.power.strip import light_fraction

        codes = drive_from_light(self.layout, look_light(self.ready, self.place, times_s), self.look.level)
        state = solve(self.network, codes)
        g = light_fraction(self.layout, state.group_v)
        dimming(self.layout, codes, g).max(axis=1), steps(self.layout, codes, g).max(axis=1), state.group_v.min(axis=1)
        return group_xyz(self.layout, codes, g)

    def picture(self, xyz, out=None):
        return self.renderer.picture(xyz, self.exposure, out=out)


def opened(name: str, cache: str) -> dict:
    done = subprocess.run(
        [sys.executable, __file__, "--first", name], capture_output=True, text=True, check=True,
        env={**os.environ, "XDG_CACHE_HOME": cache},
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def in_turn(jobs: dict, rounds: int) -> dict:
    """Middle wall time and mean process time, in ms, of each job; all jobs one after another, so many times."""
    import numpy as np

    wall, cpu = {name: [] for name in jobs}, {name: [] for name in jobs}
    for _ in range(rounds + 2):
        for name, job in jobs.items():
            began, used = time.perf_counter(), time.process_time()
            job()
            wall[name].append(time.perf_counter() - began)
            cpu[name].append(time.process_time() - used)
    return {
        name: (1000 * np.median(wall[name][2:]), 1000 * min(wall[name][2:]), 1000 * np.mean(cpu[name][2:]))
        for name in jobs
    }


def frames(name: str, rounds: int) -> None:
    import cv2
    import numpy as np

    from preview.commands.options import load
    from preview.light.picture import Renderer

    frame = Frame(load(name))
    renderer = frame.renderer
    width, height = SIZE
    out = np.empty((height, width, 3), np.uint8)
    times = np.linspace(0, frame.look.seconds * 0.9, TOGETHER)
    clock = iter(np.tile(times, rounds + 50))
    many = np.stack([frame.meter(t) for t in times])
    times_of_30 = np.arange(30) / 30
    transport = renderer.maps.transport
    random = np.random.default_rng(1)
    cells = {channels: random.random((*renderer._cells, channels), np.float32) for channels in (3, 4)}
    looked = {channels: np.empty((height, width, channels), np.float32) for channels in (3, 4)}
    index = np.empty((height, width * 3), np.uint16)
    codes = np.empty((height, width * 3), np.uint8)
    table = np.sqrt(np.linspace(0, 255**2, 65536)).astype(np.uint8)

    def look_up(channels: int) -> None:
        where = renderer._pixels.x, renderer._pixels.y
        cv2.remap(cells[channels], *where, cv2.INTER_LINEAR, dst=looked[channels])

    def to_bytes() -> None:
        np.multiply(looked[3].reshape(height, -1), np.float32(65535), out=index, casting="unsafe")
        try:
            cv2.LUT(index, table, dst=codes)
        except cv2.error:  # OpenCV 4 looks no 16-bit values up
            np.take(table, index, out=codes)

    jobs = {
        "transport": read_transport(renderer, 4),
        "look-up of 3": lambda: look_up(3),
        "look-up of 4": lambda: look_up(4),
        "table": to_bytes,
        "meter": lambda: frame.meter(next(clock)),
        "meter of 30": lambda: frame.meters(times_of_30),
        "picture": lambda: frame.picture(many[0], out),
        "whole frame": lambda: frame.picture(frame.meter(next(clock)), out),
    }
    found = in_turn(jobs, rounds)
    sides = range(3)
    floors = {
        name: tuple(found["transport"][k] + found["table"][k] + min(found[way][k] for way in ways) for k in sides)
        for name, ways in (("floor, 3", ("look-up of 3",)), ("least floor", ("look-up of 3", "look-up of 4")))
    }
    print(f"  {'a frame, ms':<14}{'middle':>8}{'least':>8}{'cpu':>8}")
    for part, (middle, least, cpu) in {**found, **floors}.items():
        print(f"  {part:<14}{middle:>8.2f}{least:>8.2f}{cpu:>8.2f}")
    whole = found["whole frame"]
    played = [found["picture"][k] + found["meter of 30"][k] / 30 for k in sides]
    for kind, took in (("one moment metered by itself", whole), ("30 moments metered together", played)):
        for name, floor in floors.items():
            by = [took[k] / floor[k] for k in sides]
            print(f"  whole frame over {name}, {kind}: middle {by[0]:.2f}, least {by[1]:.2f}, cpu {by[2]:.2f}")
    print(f"  whole frames a second: {1000 / whole[0]:.0f} (middle), {1000 / whole[1]:.0f} (least)")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for size in (SIZE, CLIP, SMALL):
        together(frame, renderer if size == SIZE else Renderer(frame.scene, frame.layout, size), many, rounds)
    print(f"  transport {transport.bytes / 1e6:.0f} MB, peak memory {peak:.0f} MB")


def read_transport(renderer, columns: int):
    """A job: light of so many columns on all cells, and nothing done with it."""
    import numpy as np

    flux = np.random.default_rng(1).random((renderer.maps.transport.coarse.shape[1], columns), np.float32)
    even = np.zeros((len(renderer.maps.transport.coarse), columns), np.float32)
    return lambda: renderer._mixer.mix(flux, even, lambda rows, light: None)


def together(frame, renderer, many, rounds: int) -> None:
    """Frames drawn together against the same one by one: the transport by itself, and whole pictures."""
    import numpy as np

    out = np.empty((renderer.size[1], renderer.size[0], 3), np.uint8)
    alone, block = read_transport(renderer, 4), read_transport(renderer, 3 * renderer._together)
    jobs = {
        "matrix, one by one": lambda: [alone() for _ in range(renderer._together)],
        "matrix, together": block,
        "pictures, one by one": lambda: [renderer.picture(xyz, frame.exposure, out=out) for xyz in many],
        "pictures, together": lambda: [None for _ in renderer.pictures(many, frame.exposure)],
    }
    found = in_turn(jobs, max(3, rounds // 12))
    matrix, matrix_together, pictures, pictures_together = (np.array(found[name]) for name in jobs)
    share = matrix / renderer._together / (pictures / len(many))
    print(
        f"  {renderer.size[0]}x{renderer.size[1]}, frames together, times as fast a frame (middle, least, cpu):\n"
        f"    the matrix by itself, {renderer._together} frames, 3 wanted: {line(matrix / matrix_together)}\n"
        f"    whole pictures: {line(pictures / pictures_together)}; the matrix takes {line(share)} of a picture drawn alone, "
        f"{1000 * len(many) / pictures_together[0]:.0f} pictures a second"
    )


def line(values) -> str:
    return ", ".join(f"{value:.2f}" for value in values)


def accuracy(name: str, places: int = 150) -> None:
    """The picture's own texels, at pixels at random, against rays from 89 places on every group; all groups lit.

    A miss is relative to what a lux meter would read, bounced light included. `within a pixel`: light is what rays find somewhere within
    half a pixel of the pixel's middle, for half-shadows that are narrower than that.
    """
    import cv2
    import numpy as np

    sys.path.insert(0, str(Path(__file__).parents[1] / "light"))
    from conftest import lattice_lux

    from preview.commands.options import load
    from preview.light.atlas import pack
    from preview.light.camera import camera_of
    from preview.light.colour import Y_OF_RGB
    from preview.light.emission import lines_of
    from preview.light.fill import bounce_rgb
    from preview.light.mixing import Mixer
    from preview.light.picture import Renderer
    from preview.light.room import surfaces_of
    from preview.light.view import look, trace
    from preview.scene.layout import lay_out

    scene = load(name)
    layout, everything = lay_out(scene), surfaces_of(scene)
    camera = camera_of(scene.viewer, SIZE)
    view = look(camera, everything)
    shown = np.unique(np.concatenate([view.pixels.surface.ravel(), view.edge_surface]))
    shown = shown[shown >= 0]
    maps = Renderer(scene, layout, SIZE).maps
    atlas = pack(maps.grids)
    cells = np.zeros(atlas.height * atlas.width, np.float32)
    flux = np.ones(layout.groups)
    nodes, even = (
        np.zeros((size, 1), np.float32) for size in (maps.transport.gather.shape[0], len(maps.transport.coarse))
    )
    with ThreadPoolExecutor(2) as pool:
        Mixer(maps.transport, pool).mix(flux[:, None].astype(np.float32), even, nodes.__setitem__)
    cells[atlas.cells()] = nodes[:, 0]
    chosen = np.random.default_rng(11).choice(np.nonzero(view.pixels.surface.ravel() >= 0)[0], places, replace=False)
    number, u, v = (part.ravel()[chosen] for part in (view.pixels.surface, view.pixels.u_m, view.pixels.v_m))
    at = (part.astype(np.float32)[None] for part in atlas.place(np.searchsorted(shown, number), u, v))
    found = cv2.remap(cells.reshape(atlas.height, -1), *at, cv2.INTER_LINEAR).ravel().astype(float)

    def cast(number, u, v):
        points = everything.origin_m[number] + u[:, None] * everything.u[number] + v[:, None] * everything.v[number]
        return lattice_lux(scene, layout, points, everything.normal[number], flux, (89, 55))

    lines = lines_of(scene, layout)
    sent = np.full(3, float(lines.share @ lines.count))
    even = float(bounce_rgb(sent, everything) @ Y_OF_RGB)
    true = cast(number, u, v)
    miss = np.abs(found - true) / (true + even)
    beyond = miss.copy()
    for k in np.nonzero(miss > 0.02)[0]:
        y, x = np.divmod(chosen[k], SIZE[0])
        dx, dy = (part.ravel() for part in np.meshgrid(np.linspace(0, 1, 7), np.linspace(0, 1, 7)))
        near = trace(camera, everything, x + dx, y + dy)
        same = near.surface == number[k]
        light = np.append(cast(near.surface[same], near.u_m[same], near.v_m[same]), true[k])
        nearest = np.clip(found[k], light.min(), light.max())
        beyond[k] = abs(found[k] - nearest) / (nearest + even)
    print(
        f"  {Path(name).stem if Path(name).stem != 'scene' else Path(name).parent.name:<16}{layout.groups:>7}{len(cells):>9}"
        f"{np.median(miss):>9.2%}{(miss < 0.01).mean():>9.1%}{(miss < 0.02).mean():>9.1%}{miss.max():>9.1%}"
        f"{(beyond < 0.02).mean():>17.1%}{beyond.max():>9.1%}",
        flush=True,
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("groups", type=int, nargs="*", default=[300, 1000])
    asked.add_argument("--rounds", type=int, default=60)
    asked.add_argument("--first", help=argparse.SUPPRESS)
    asked.add_argument("--frames", help=argparse.SUPPRESS)
    asked.add_argument("--accuracy", action="store_true", help="of the demo scenes' texels instead of times")
    given = asked.parse_args()
    if given.accuracy:
        print(
            f"  {'scene':<16}{'groups':>7}{'cells':>9}{'median':>9}{'in 1 %':>9}{'in 2 %':>9}{'most':>9}{'within a pixel':>17}"
        )
        for name in ("tea_bar", "reading_corner", "gallery_hall", "sitting_room"):
            accuracy(name)
        return
    if given.first:
        first_picture(given.first)
        return
    if given.frames:
        frames(given.frames, given.rounds)
        return
    with tempfile.TemporaryDirectory() as folder:
        for groups in given.groups:
            name = scene_of(groups, Path(folder))
            print(
                f"{groups} groups, {SIZE[0]}x{SIZE[1]}; machine load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores",
                flush=True,
            )
            cold = opened(name, folder)
            known = min((opened(name, folder) for _ in range(3)), key=lambda took: took["process"])
            for kind, took in (("cold", cold), ("from the cache", known)):
                print(
                    f"  first picture {kind}: {took['room']:.2f} s, {took['process']:.2f} s from the start of the program, "
                    f"cpu {took['cpu']:.2f} s"
                )
            subprocess.run(  # in a process of its own, so that its peak of memory is its own
                [sys.executable, __file__, "--frames", name, "--rounds", str(given.rounds)], check=True,
                env={**os.environ, "XDG_CACHE_HOME": folder},
            )  # fmt: skip


if __name__ == "__main__":
    main()

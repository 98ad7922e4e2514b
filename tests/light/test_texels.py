"""The light maps that pictures are looked up in, against rays cast from every piece of the runs.

Four places where a coarse map would go wrong: a strip that faces a wall at 20 mm, a cove behind a lip, a shelf lit from below, a plinth.
"""

import numpy as np
import pytest

FLAT = {
    "depth_mm": 8.0,
    "width_mm": 12.0,
    "cover": "frosted",
    "transmission": 0.78,
    "spread_mm": 2.5,
    "side_fraction": 0.08,
}
SOFT = {
    "depth_mm": 14.0,
    "width_mm": 12.0,
    "cover": "opal",
    "transmission": 0.62,
    "spread_mm": 5.0,
    "side_fraction": 0.12,
}

PLACES = {
    "facing a wall at 20 mm": ([([[0.8, 1.98, 1.2], [2.2, 1.98, 1.2]], (0, 1, 0), None)], []),
    "cove behind a lip": (
        [([[0.2, 1.9, 2.18], [2.8, 1.9, 2.18]], (0, -0.5, 0.87), FLAT)],
        [
            ((0.0, 1.76, 2.12), (3.0, 0.24, 0.02)),
            ((0.0, 1.76, 2.14), (3.0, 0.02, 0.05)),
            ((0.0, 1.88, 2.14), (3.0, 0.12, 0.03)),
        ],
    ),
    "shelf lit from below": (
        [([[0.7, 1.8, 1.49], [2.3, 1.8, 1.49]], (0, 0.5, -0.87), SOFT)],
        [((0.6, 1.74, 1.5), (1.8, 0.26, 0.04)), ((0.9, 1.84, 0.8), (0.2, 0.1, 0.25)), ((0.0, 1.4, 0.78), (3.0, 0.6, 0.02))],
    ),
    "plinth": (
        [([[0.6, 0.99, 0.115], [2.4, 0.99, 0.115]], (0, 0, -1), FLAT)],
        [((0.68, 1.03, 0.0), (1.64, 0.47, 0.12)), ((0.6, 0.95, 0.12), (1.8, 0.6, 0.9)), ((1.0, 0.4, 0.0), (0.3, 0.3, 0.5))],
    ),
}  # fmt: skip


@pytest.fixture(params=PLACES)
def place(request, make_scene, maps):
    scene, layout = make_scene(*PLACES[request.param], leds=60, group=6)
    return scene, layout, maps(scene, layout, 40_000)


def _even(scene, layout) -> float:
    """The bounced light, as an even term: the least that there is anywhere."""
    from preview.light.emission import lines_of
    from preview.light.fill import bounce_rgb
    from preview.light.room import surfaces_of

    lines = lines_of(scene, layout)
    sent = float(np.repeat(lines.share, lines.count).sum())
    return float(bounce_rgb(np.full(3, sent), surfaces_of(scene)) @ [0.2126, 0.7152, 0.0722])


def test_maps_agree_with_rays_everywhere(place, brute) -> None:
    scene, layout, light = place
    surface, u, v = light.places(np.random.default_rng(4), 260)
    flux = np.ones(layout.groups)
    found = light.at(light.lit(flux), surface, u, v)
    cast = brute(scene, layout, light.points(surface, u, v), light.surfaces.normal[surface], flux, along=12, strands=8)
    # Light is even at least as far as what has bounced: relative to what a lux meter would read there.
    error = np.abs(found - cast) / (cast + _even(scene, layout))
    assert np.median(error) < 0.001
    assert (error < 0.02).mean() > 0.97  # what is left lies on ends of shadows that run aslant over a surface
    assert error.max() < 0.12


def test_maps_agree_with_rays_beside_the_run(place, brute) -> None:
    """Within a hand's breadth of the run, where light falls off fastest."""
    scene, layout, light = place
    rng = np.random.default_rng(6)
    surface, u, v = light.places(rng, 60_000)
    points = light.points(surface, u, v)
    start, end = np.array(scene.run[0].path_m[0]), np.array(scene.run[0].path_m[-1])
    tangent = (end - start) / np.linalg.norm(end - start)
    along = (points - start) @ tangent
    off = points - start - along[:, None] * tangent
    ahead, beside = off @ layout.aim[0], np.linalg.norm(off, axis=1)
    # What the channel itself covers, close behind its face, is left out.
    open_to_view = (ahead > 0.001) | (beside > 0.02)
    near = np.nonzero(open_to_view & (beside < 0.1) & (along > 0) & (along < np.linalg.norm(end - start)))[0][:120]
    assert len(near) >= 60
    surface, u, v = surface[near], u[near], v[near]
    flux = rng.uniform(0.2, 1.0, layout.groups)  # no two groups alike
    found = light.at(light.lit(flux), surface, u, v)
    normals = light.surfaces.normal[surface]
    cast = brute(scene, layout, points[near], normals, flux, along=24, strands=8)
    error = np.abs(found - cast) / (cast + _even(scene, layout))
    assert np.median(error) < 0.01
    assert (error < 0.02).mean() > 0.94
    assert error.max() < 0.15  # a shadow's end on what carries the run, some mm wide


def test_nothing_bleeds_over_an_edge(place, brute) -> None:
    """2 mm to either side of every edge where two surfaces meet, also where one is bright and the other dark."""
    scene, layout, light = place
    rng = np.random.default_rng(9)
    surface = np.repeat(np.arange(len(light.surfaces)), 4)
    size = light.surfaces.size_m[surface]
    u, v = (rng.uniform(0.1, 0.9, (len(surface), 2)) * size).T
    side = np.tile(np.arange(4), len(light.surfaces))
    u = np.where(side == 0, 0.002, np.where(side == 1, size[:, 0] - 0.002, u))
    v = np.where(side == 2, 0.002, np.where(side == 3, size[:, 1] - 0.002, v))
    free = ~light.covered(surface, u, v)
    surface, u, v = surface[free], u[free], v[free]
    flux = np.ones(layout.groups)
    found = light.at(light.lit(flux), surface, u, v)
    cast = brute(scene, layout, light.points(surface, u, v), light.surfaces.normal[surface], flux, along=16, strands=16)
    error = np.abs(found - cast) / (cast + _even(scene, layout))
    if scene.box:
        assert cast.max() > 10 * _even(scene, layout)  # some of the edges are bright on one side
    assert (cast == 0).sum() > 5  # and others dark
    assert error.max() < 0.10
    assert (error < 0.02).mean() > 0.95


def test_an_edge_that_runs_aslant_is_straight(make_scene, maps, brute) -> None:
    """On the side wall at the end of a cove the lip's shadow is a slanting line: no steps in it.

    12 mm outside the half-shadow on either side of it, all along, light is what rays find: full above, nothing below.
    """
    scene, layout = make_scene(*PLACES["cove behind a lip"], leds=60, group=6)
    light = maps(scene, layout, 40_000)
    # The lip's top edge is at y = 1.76, z = 2.19; the cover's middle is 8 mm along the aim from the path.
    aim = np.array([-0.5, 0.87]) / np.hypot(0.5, 0.87)
    cover, edge = np.array([1.9, 2.18]) + 0.008 * aim, np.array([1.76, 2.19])
    way = (edge - cover) / np.linalg.norm(edge - cover)
    ahead = np.linspace(0.03, 1.2, 60)
    half_shadow = 0.006 * abs(way @ aim) * ahead / np.linalg.norm(edge - cover)
    normal = np.array([-way[1], way[0]]) * np.sign(way[0])  # upwards
    left = light.surfaces.names.index("left")
    lit = light.lit(np.ones(layout.groups))
    found, cast = [], []
    for side in (1, -1):
        y, z = (edge + ahead[:, None] * way + side * (half_shadow + 0.012)[:, None] * normal).T
        places = light.points(np.full(len(y), left), y, z)
        found.append(light.at(lit, np.full(len(y), left), y, z))
        cast.append(brute(scene, layout, places, [1.0, 0.0, 0.0], np.ones(layout.groups), along=12, strands=24))
    (above, below), (full, none) = found, cast
    assert full.min() > 0.02
    assert none == pytest.approx(0, abs=1e-9)
    assert np.median(above / full) == pytest.approx(1, abs=0.05)
    assert (above > 0.85 * full).all()
    assert (below < 0.15 * full).all()

"""What a feed plan is asked to hold, by which rules it is made, and that it holds every lower level too."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np

from preview.looks.drives import channel_blocks, drive_blocks, find_look
from preview.looks.library import looks_of
from preview.power.cap import Cap, cap_any, cap_of
from preview.power.network import build
from preview.power.plan import Advice, Plan, plan_feeds
from preview.power.plan_chain import Rules
from preview.power.plan_costs import Prices, sizes_of, system_of
from preview.power.plan_limits import NoPlanError
from preview.power.plan_moments import Asked, Codes
from preview.power.plan_ways import ALLOWANCE, feed_lengths_m
from preview.scene.layout import Layout
from preview.scene.model import Look, Scene

__all__ = ["advise", "any_caps", "asked_of", "not_held", "plans_of", "rules_of"]

USUAL_CONTACT_MILLIOHM = 5.0
"""Contact in each conductor where the scene gives none (common practice, no source)."""

MOST_ROUNDS = 4
"""Times that a level below the asked one may turn up which does not hold, and be planned for."""


def asked_of(
    scene: Scene, layout: Layout, names: tuple[str, ...] = (), any_content: bool = False, level: float | None = None
) -> list[Asked]:
    """What a plan is to hold: looks at their own level or at `level`, or any content, at 1 where `level` is None."""

    def of_look(look: Look) -> Asked:
        own = look.level if level is None else level

        def codes() -> Iterator[Codes]:
            yield from drive_blocks(scene, layout, look, own)

        def cap(plan: Scene) -> Cap:
            return cap_of(plan, layout, build(plan, layout), channel_blocks(scene, layout, look), f"look {look.name}")

        return Asked(f"look {look.name}", own, codes, cap)

    if any_content or not (names or scene.look):
        share = 1.0 if level is None else level
        full = np.full((1, layout.groups, layout.colours), np.uint8(math.floor(255 * share + 0.5)), dtype=np.uint8)

        def every() -> Iterable[Codes]:
            return [full]

        return [Asked("any content", share, every, lambda plan: cap_any(plan, layout, build(plan, layout)))]
    looks = [find_look(scene, name) for name in names] if names else list(looks_of(scene))
    return [of_look(look) for look in looks if (look.level if level is None else level) > 0]


def rules_of(
    scene: Scene,
    layout: Layout,
    *,
    allowance: float = ALLOWANCE,
    given_m: dict[str, float] | None = None,
    cables: str | None = None,
    ends: bool = False,
    most: int | None = None,
    prices: Prices | None = None,
    check: Callable[[], None] = lambda: None,
) -> Rules:
    """How to plan a scene: its own system of cables and its usual contacts, unless told otherwise.

    `check` is called now and then while plans are looked for, and may raise to stop it.
    """

    fused = [feed.fuse_milliohm for feed in scene.feed if feed.fuse_a is not None]
    system = system_of(scene)
    return Rules(
        prices=prices or Prices(),
        sizes=sizes_of("awg" if cables == "awg" else "mm2" if cables == "mm2" else system),
        lengths_m=feed_lengths_m(scene, layout, allowance, given_m),
        contact_milliohm=float(np.max([feed.contact_milliohm for feed in scene.feed])) or USUAL_CONTACT_MILLIOHM,
        fuse_milliohm=float(np.max(fused)) if fused else 0.0,
        ends_only=ends,
        most_feeds=most,
        check=check,
    )


def advise(scene: Scene, layout: Layout, asked: list[Asked], rules: Rules) -> tuple[Advice, dict[str, list[Cap]]]:
    """The plans, and their caps by name. A lower level that the best does not hold is planned for as well, and so on."""

    wanted = list(asked)
    for _ in range(MOST_ROUNDS):
        advice = plan_feeds(scene, layout, wanted, rules)
        caps = {plan.name: [one.cap(plan.scene) for one in asked if one.cap] for plan in plans_of(advice)}
        short = [
            (one, cap)
            for one, cap in zip(asked, caps[advice.best.name], strict=True)
            if cap.code + 1 <= math.floor(255 * one.level + 1e-9)
        ]
        if not short:
            kept = tuple(p for p in advice.others if _holds(asked, caps[p.name]))

            present = advice.present
            is_kept = (
                present is not None
                and present.holds
                and present.cost <= advice.best.cost + 1e-6
                and _holds(asked, caps[present.name])
            )
            if is_kept:  # then what was planned is one of those to weigh against it
                caps["planned anew"] = caps.pop(advice.best.name)
                advice = replace(advice, best=replace(advice.best, name="planned anew"))
            return replace(advice, others=kept, kept=is_kept), caps
        wanted += [_at_code(scene, layout, one, cap) for one, cap in short]
    raise NoPlanError(f"{scene.title}: no plan was found that holds every level below the asked one as well")


def _holds(asked: list[Asked], caps: list[Cap]) -> bool:
    return all(cap.code >= math.floor(255 * one.level + 1e-9) for one, cap in zip(asked, caps, strict=True))


def _at_code(scene: Scene, layout: Layout, one: Asked, cap: Cap) -> Asked:
    """The same at the first level that fails."""
    if not cap.holds:
        raise NoPlanError(
            f"{scene.title}: {one.name} holds at no level, not even dark: {cap.limited_by} {cap.where or ''}"
        )
    (again,) = asked_of(
        scene,
        layout,
        () if one.name == "any content" else (one.name.removeprefix("look "),),
        one.name == "any content",
        (cap.code + 1) / 255,
    )
    return again


def not_held(scene: Scene, layout: Layout, asked: list[Asked], advice: Advice) -> list[str]:
    """Looks that the plan was not asked to hold at their own level, and does not."""
    chosen = plans_of(advice)[0]
    held = {one.name: one.level for one in asked}
    lines = []
    for one in asked_of(scene, layout) if scene.look else []:
        if held.get(one.name, 0.0) < one.level and one.cap is not None:
            cap = one.cap(chosen.scene)
            if cap.code < math.floor(255 * one.level + 1e-9):
                lines.append(
                    f"{one.name} is planned at level {one.level:g}; the plan of least cost holds it up to {cap.level:.3f}."
                )
    return lines


def any_caps(layout: Layout, advice: Advice) -> dict[str, Cap]:
    """The cap for any content of every plan, by name: what a plan made for its looks leaves for others."""
    return {plan.name: cap_any(plan.scene, layout, build(plan.scene, layout)) for plan in plans_of(advice)}


def plans_of(advice: Advice) -> list[Plan]:
    """Every plan of an advice: the best, the others, what is there; that first where nothing is to be changed."""
    if advice.kept and advice.present:
        return [advice.present, advice.best, *advice.others]
    return [advice.best, *advice.others, *([advice.present] if advice.present else [])]

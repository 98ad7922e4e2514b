"""What the client's page says: what one sees, and what to take care of. Nothing of volts and amps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from preview.handover.checking import Checked
from preview.handover.eyes import flash_limit
from preview.pack.pictures import AFTER, BEFORE, Shown
from preview.scene.model import Scene

__all__ = ["ShownLook", "client_page"]


@dataclass(frozen=True)
class ShownLook:
    """One look as the page shows it: `clip` is None where there is none, `flashes` where its picture flashes more than it may."""

    name: str
    says: str
    seconds: float
    still: bool
    picture: str
    clip: str | None
    flashes: bool
    withheld: bool  # its clip was left out because it flashes


def client_page(
    scene: Scene,
    checked: Checked,
    shown: Sequence[Shown],
    clips: Mapping[str, str],
    withheld: Sequence[str],
    clip_size: tuple[int, int],
) -> dict[str, Any]:
    """What the template `client.html` needs, beyond what both pages share. `clips`: file names by look; `withheld`: looks without one."""
    limit = flash_limit(scene)
    fast = {str(one["look"]) for one in checked.flashes if max(one["general_per_s"], one["red_per_s"]) > limit}
    looks = [
        ShownLook(
            one.name, one.says, one.seconds, one.still, one.picture, clips.get(one.name),
            one.name in fast or one.name in withheld, one.name in withheld,
        )
        for one in shown
    ]  # fmt: skip
    in_view = [str(one["run"]) for one in checked.dots if one["in_view"]]
    return {
        "looks": looks,
        "before": BEFORE,
        "after": AFTER,
        "first": shown[0].name,
        "any_clips": bool(clips),
        "flashing": [look.name for look in looks if look.flashes],
        "flash_limit": limit,
        "in_view": in_view,
        "typical": bool([key for key in scene.assumed if key.startswith("strip.")]),
        "photo": scene.photo is not None,
        "width": clip_size[0],
        "height": clip_size[1],
    }

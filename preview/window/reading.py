"""Everything that the instruments show at one instant, put together once a picture."""

from __future__ import annotations

from dataclasses import dataclass

from preview.handover.eyes import flash_limit
from preview.looks.flashing import Flashes
from preview.looks.library import PROGRAMME
from preview.power.cap import Cap
from preview.window.figures import Moment, Plan
from preview.window.model import Session
from preview.window.survey import Survey

__all__ = ["Reading"]


@dataclass(frozen=True)
class Reading:
    """What is shown. `moment` is held for a while, so that its figures can be read; `survey` may be of another level.

    `cap_known` tells a look without a cap, because its script fails, from one whose cap is still being worked out.
    """

    plan: Plan
    session: Session
    moment: Moment | None
    survey: Survey | None
    cap: Cap | None
    cap_any: Cap | None
    cap_known: bool
    flashes: Flashes | None
    focus: str
    first_supply: int

    @property
    def is_of_now(self) -> bool:
        """Whether the survey is of the level that is set."""
        return self.survey is not None and self.survey.level == self.session.level

    @property
    def time_s(self) -> float:
        """Time of the frame that is shown."""
        return self.session.frame / self.session.frames_per_s

    @property
    def step(self) -> str:
        """Name of the look that is being played as a part of the programme; empty where another look plays."""
        if self.session.playing_look.effect != PROGRAMME:
            return ""
        return [name for start_s, name in self.plan.steps if start_s <= self.time_s + 1e-9][-1]

    @property
    def breaks(self) -> int:
        """How many limits the look exceeds, as far as that is known."""
        return len(self.survey.breaks) if self.survey and self.survey.breaks else 0

    @property
    def flashes_too_often(self) -> float:
        """Flashes in the fullest second of the look, where that is more than may be; else 0."""
        found = self.flashes
        return found.per_s if found is not None and not found.within(flash_limit(self.plan.scene)) else 0.0

"""Every key of the window and what it does: one table, read by the event loop and by the page that lists the keys."""

from __future__ import annotations

from typing import NamedTuple

import pygame

__all__ = ["KEYS", "Key", "act_of"]


class Key(NamedTuple):
    """Keys that do one thing: pairs of a key and what it does, how they are written, and what they say they do."""

    acts: tuple[tuple[int, bool, str], ...]  # key, with shift, act
    written: str
    says: str


def _one(key: int, act: str, written: str, says: str, shift: bool = False) -> Key:
    return Key(((key, shift, act),), written, says)


KEYS: tuple[tuple[str, tuple[Key, ...]], ...] = (
    (
        "Time",
        (
            _one(pygame.K_SPACE, "play", "Space", "play or pause"),
            Key(
                ((pygame.K_LEFT, False, "time -1"), (pygame.K_RIGHT, False, "time +1")),
                "Left  Right",
                "one second back or on",
            ),
            Key(
                ((pygame.K_LEFT, True, "frame -1"), (pygame.K_RIGHT, True, "frame +1")),
                "Shift Left  Right",
                "one frame back or on",
            ),
            Key(((pygame.K_HOME, False, "time start"), (pygame.K_END, False, "time end")), "Home  End", "start or end"),
            Key(
                ((pygame.K_w, False, "worst shift"), (pygame.K_w, True, "worst lowest")),
                "W  Shift W",
                "to the largest shift, the lowest volts",
            ),
        ),
    ),
    (
        "Looks",
        (
            Key(
                (
                    (pygame.K_PAGEUP, False, "look -1"),
                    (pygame.K_PAGEDOWN, False, "look +1"),
                    *((pygame.K_1 + k, False, f"look {k}") for k in range(9)),
                ),
                "Page Up  Down  1 … 9",
                "previous, next, by number",
            ),
        ),
    ),
    (
        "What is shown",
        (
            _one(pygame.K_d, "drop", "D", "the picture with drop, or without"),
            _one(pygame.K_s, "beside", "S", "both, side by side"),
            _one(pygame.K_m, "marks", "M", "marks where it is worst"),
            Key(
                (
                    (pygame.K_g, False, "point +1"),
                    (pygame.K_g, True, "point -1"),
                    (pygame.K_r, False, "point run +1"),
                    (pygame.K_r, True, "point run -1"),
                ),
                "G  R  with Shift: back",
                "readings group by group, run by run",
            ),
            _one(pygame.K_n, "supplies", "N", "other supplies"),
            _one(pygame.K_i, "instruments", "I", "instruments away, or back"),
            Key(((pygame.K_f, False, "full"), (pygame.K_F11, False, "full")), "F  F11", "full screen"),
            Key(
                (
                    (pygame.K_PLUS, False, "letters +1"),
                    (pygame.K_EQUALS, False, "letters +1"),
                    (pygame.K_KP_PLUS, False, "letters +1"),
                    (pygame.K_MINUS, False, "letters -1"),
                    (pygame.K_KP_MINUS, False, "letters -1"),
                ),
                "+  \u2212",
                "instruments larger or smaller",
            ),
        ),
    ),
    (
        "Level and light",
        (
            Key(((pygame.K_UP, False, "level +13"), (pygame.K_DOWN, False, "level -13")), "Up  Down", "level, by 0.05"),
            Key(
                ((pygame.K_UP, True, "level +1"), (pygame.K_DOWN, True, "level -1")),
                "Shift Up  Down",
                "level, by one code",
            ),
            Key(
                (
                    (pygame.K_c, False, "level cap"),
                    (pygame.K_p, False, "level planned"),
                    (pygame.K_0, False, "level 0"),
                ),
                "C  P  0",
                "level: to the cap, as planned, to nothing",
            ),
            Key(((pygame.K_l, False, "light +1"), (pygame.K_l, True, "light -1")), "L  Shift L", "next room light"),
            Key(
                ((pygame.K_COMMA, False, "light down"), (pygame.K_PERIOD, False, "light up")),
                ",  .",
                "less or more room light",
            ),
        ),
    ),
    (
        "To read",
        (
            _one(pygame.K_b, "page breaks", "B", "what exceeds a limit, in words"),
            _one(pygame.K_e, "page flashes", "E", "flashes of the look, in words"),
            _one(pygame.K_a, "page assumed", "A", "values that were assumed"),
            _one(pygame.K_t, "page trouble", "T", "what went wrong, in full"),
            Key(((pygame.K_F1, False, "page keys"), (pygame.K_h, False, "page keys")), "F1  H", "this list"),
        ),
    ),
    (
        "Moving about",
        (
            Key(
                ((pygame.K_TAB, False, "focus +1"), (pygame.K_TAB, True, "focus -1")),
                "Tab  Shift Tab",
                "next control, previous; there Left, Right or Enter",
            ),
            Key(((pygame.K_ESCAPE, False, "back"),), "Esc", "back: page, readings, full screen, window"),
            _one(pygame.K_q, "quit", "Q", "close the window"),
        ),
    ),
)
"""The keys, in the groups in which they are listed."""

_ACTS = {(code, shift): act for _, keys in KEYS for key in keys for code, shift, act in key.acts}


def act_of(key: int, mod: int) -> str | None:
    """What a key does, or None. A key without an act of its own with shift does the same with it as without."""
    if mod & (pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META):
        return "quit" if key in (pygame.K_q, pygame.K_w) and mod & (pygame.KMOD_CTRL | pygame.KMOD_META) else None
    shift = bool(mod & pygame.KMOD_SHIFT)
    return _ACTS.get((key, shift)) or _ACTS.get((key, False))

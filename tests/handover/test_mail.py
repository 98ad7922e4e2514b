"""Files for mail: which steps are tried, with sizes made up for each."""

import pytest

from preview.handover.mail import steps_down


def tried(kind: str, allowed: float, power: float) -> tuple[list[float], float]:
    """What parts the steps tried leave by their own guess, and bytes over bytes allowed at the end; true sizes are guess to a power."""
    sizes, parts = [1.0], []
    for step in steps_down(kind, lambda: sizes[-1] / allowed):
        parts.append(step.part)
        sizes.append(step.part**power)
    return parts, sizes[-1] / allowed


@pytest.mark.parametrize("kind", [".gif", ".mp4", ".webp"])
@pytest.mark.parametrize("power", [0.8, 1.0, 1.5])
@pytest.mark.parametrize("allowed", [0.9, 0.5, 0.3, 0.12])
def test_what_fits_is_found_in_few_tries_and_leaves_little_room(kind: str, power: float, allowed: float) -> None:
    every = sorted({step.part for step in steps_down(kind, lambda: 1e9)} | set(tried(kind, 1e-9, 1.0)[0]), reverse=True)
    parts, over = tried(kind, allowed, power)
    if over > 1:
        assert parts[-1] == every[-1]
        assert every[-1] ** power > allowed
        return
    assert len(parts) <= 5
    smaller = [part for part in parts if part > parts[-1]]
    assert all(part**power > allowed for part in smaller)  # nothing that keeps more and was tried would have fitted


def test_a_file_that_fits_is_left_as_it_is() -> None:
    assert tried(".gif", 1.0, 1.0) == ([], 1.0)


def test_where_guesses_hold_the_first_that_fits_is_taken() -> None:
    """0.39 of the bytes allowed: the guesses before it, 0.47 and more, are too large."""
    parts, over = tried(".gif", 0.4, 1.0)
    assert parts == [0.39]
    assert over < 1


def test_steps_that_leave_too_much_room_are_gone_back_on() -> None:
    """Sizes fall faster than guessed: the first try leaves half of what is allowed, and one that keeps more is found."""
    parts, over = tried(".gif", 0.3, 2.0)
    assert parts[0] == 0.26
    assert parts[-1] == 0.47  # 0.22 of the bytes; the one before it, 0.57, would be 0.32
    assert over <= 1

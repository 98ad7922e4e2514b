"""How long each effect takes for 500 groups and 1800 frames, as a multiple of one numpy exponential over as many numbers.

python tests/bench/bench_effects.py
"""

from __future__ import annotations

import numpy as np
from timing import seconds

import effects
from effects import kit


def main() -> None:
    """Print one line an effect."""
    place, times = kit.Place.straight(25.0, 0.05), np.arange(1800) / 30
    numbers = np.linspace(-5, 0, 1800 * 500).reshape(1800, 500)
    unit = seconds(lambda: np.exp(numbers))
    print(f"one exponential over {numbers.size} numbers: {1000 * unit:.1f} ms")
    for name in effects.names():
        effect = effects.load(name)
        taken = seconds(lambda: effect.light(place, times, effect.defaults(), 0), 2)  # noqa: B023
        print(f"{name:16} {taken:5.2f} s  {taken / unit:6.1f} exponentials")


if __name__ == "__main__":
    main()

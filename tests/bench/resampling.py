"""What drawing a picture anew costs, and what its kernel does to a picture, as Markdown tables.

.venv/bin/python tests/bench/resampling.py [speed] [blocks] [kernel] [design] [--rounds 9]

``speed``: one 1080p eye of noise in several formats, moved sideways, moved and zoomed, moved, zoomed and turned. The
placement is another one each time, as in a shot whose move is eased, so that weights are made anew as well. Time of the
processor for one eye on one thread, and time on the clock for two eyes on two threads; the least of the rounds.
``blocks``: the same for other numbers of outputs in one matrix product. ``kernel``: error against an exact shift, worst
case over a hundred fractions of a sample, and overshoot. ``design``: the linear programme that gives the coefficients.
"""

import argparse
import sys
import threading
import time
from pathlib import Path

import numpy as np
from scipy.optimize import linprog
from tables import heading, machine, outcome, row

sys.path.insert(0, str(Path(__file__).parents[1]))
from postfix.plan.placement import Placement
from postfix.render import bands, draw, turn
from postfix.render.kernel import TAPS, WINDOW, kernel
from postfix.render.resample import resampled
from postfix.source.picture import PictureFormat, PlaneFormat

WIDTH, HEIGHT = 1920, 1080
PLACEMENTS = {
    "sideways": Placement(right_px=3.3),
    "sideways, zoom": Placement(1.02, 3.3),
    "sideways, zoom, down, turn": Placement(1.02, 3.3, 1.2, 0.3),
}
LIMITS_MS = {("yuv 4:2:2 10 bit", "sideways"): 12.0, ("RGB 16 bit", "sideways, zoom"): 30.0}
TO_HALF_DB, TO_08_DB, OVERSHOOT_PCT = -60.0, -40.0, 12.0
FRACTIONS = np.arange(100) / 100.0


def _yuv(step_x, step_y, dtype, depth):
    chroma = PlaneFormat(step_x, step_y, 1, (2.0 ** (depth - 1),))
    planes = (PlaneFormat(1, 1, 1, (16.0 * 2 ** (depth - 8),)), chroma, chroma)
    return PictureFormat(WIDTH, HEIGHT, "yuv", dtype, depth, 235.0 * 2 ** (depth - 8), True, planes)


def _rgb(dtype, depth):
    plane = PlaneFormat(1, 1, 3, (0.0, 0.0, 0.0))
    return PictureFormat(WIDTH, HEIGHT, "rgb", dtype, depth, 1.0, False, (plane,))


FORMATS = {
    "yuv 4:2:0 8 bit": _yuv(2, 2, "uint8", 8),
    "yuv 4:2:2 10 bit": _yuv(2, 1, "uint16", 10),
    "RGB 16 bit": _rgb("uint16", 16),
    "RGB half float": _rgb("float16", 16),
    "RGB float": _rgb("float32", 32),
}


def _noise(fmt):
    rng = np.random.default_rng(0)
    planes = []
    for plane in fmt.planes:
        shape = (HEIGHT // plane.step_y, WIDTH // plane.step_x) + ((plane.channels,) if plane.channels > 1 else ())
        top = 2.0**fmt.bit_depth - 1.0 if fmt.dtype.startswith("uint") else 1.0
        planes.append((rng.random(shape) * top).astype(fmt.dtype))
    return tuple(planes)


def _least_ms(work, rounds, clock):
    times = []
    for count in range(rounds + 1):
        start = clock()
        work(count)
        times.append(clock() - start)
    return 1e3 * min(times[1:])


def _costs(fmt, planes, placement, rounds):
    """Milliseconds of the processor for one eye, and on the clock for two eyes at once."""

    def eye(count, sign=1.0):
        moved = Placement(
            placement.zoom, placement.right_px + sign * 0.01 * count, placement.down_px, placement.turn_deg
        )
        resampled(planes, fmt, moved)

    def both(count):
        threads = [threading.Thread(target=eye, args=(count, sign)) for sign in (1.0, -1.0)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    return _least_ms(eye, rounds, time.thread_time), _least_ms(both, rounds, time.perf_counter)


def speed(rounds):
    heading("1080p eye", "drawn", "one eye, processor, ms", "two eyes, two threads, clock, ms", "limit, ms", "")
    for name, fmt in FORMATS.items():
        planes = _noise(fmt)
        for way, placement in PLACEMENTS.items():
            one, two = _costs(fmt, planes, placement, rounds)
            limit = LIMITS_MS.get((name, way))
            bound = ("", "") if limit is None else (f"{limit:.0f}", outcome(one, limit))
            row(name, way, f"{one:.1f}", f"{two:.1f}", *bound)


def blocks(rounds):
    heading("outputs in a product", *[f"{name}, {way}, ms" for name, way in LIMITS_MS])
    kept = bands.BLOCK, bands.STRIP
    for block in (8, 16, 32, 64, 128):
        bands.BLOCK = block
        for module in (bands, draw, turn):
            module.STRIP = max(kept[1], block)
        bands.bands.cache_clear()
        costs = [_costs(FORMATS[name], _noise(FORMATS[name]), PLACEMENTS[way], rounds)[0] for name, way in LIMITS_MS]
        row(str(block), *[f"{cost:.1f}" for cost in costs])
    bands.BLOCK = kept[0]
    for module in (bands, draw, turn):
        module.STRIP = kept[1]
    bands.bands.cache_clear()


def _kaiser(beta, taps):
    def weigh(distance):
        inside = np.clip(1.0 - (2.0 * distance / taps) ** 2, 0.0, None)
        return np.sinc(distance) * np.i0(beta * np.sqrt(inside)) * (np.abs(distance) <= taps / 2)

    return weigh


def _lanczos(lobes):
    return lambda distance: np.sinc(distance) * np.sinc(distance / lobes) * (np.abs(distance) <= lobes)


def _figures(weigh, taps):
    """Worst error in dB up to 0.5, 0.65 and 0.8 of Nyquist, and overshoot in per cent of a full step."""
    share = np.linspace(0.0, 0.8, 161)
    error, over = np.zeros_like(share), 0.0
    for fraction in FRACTIONS:
        distance = fraction - np.arange(1 - taps // 2, taps // 2 + 1)
        weights = weigh(distance)
        weights = weights / weights.sum()
        error = np.maximum(error, np.abs(np.exp(-1j * np.pi * share[:, None] * distance) @ weights - 1.0))
        stepped = np.cumsum(weights)
        over = max(over, stepped.max() - 1.0, -stepped.min())
    return [20.0 * np.log10(error[share <= limit + 1e-9].max()) for limit in (0.5, 0.65, 0.8)] + [100.0 * over]


def kernels():
    heading("window", "taps", "to 0.5, dB", "to 0.65, dB", "to 0.8, dB", "overshoot, %", "")
    tried = [(f"Kaiser, beta {beta}", _kaiser(beta, taps), taps) for taps in (16, 32) for beta in (4.5, 5.4, 6.0, 7.0)]
    tried += [("Lanczos", _lanczos(taps // 2), taps) for taps in (16, 32)]
    for name, weigh, taps in [*tried, ("cosines", kernel, TAPS)]:
        half, two_thirds, most, over = _figures(weigh, taps)
        met = half <= TO_HALF_DB and most <= TO_08_DB and over <= OVERSHOOT_PCT
        figures = [f"{figure:.1f}" for figure in (half, two_thirds, most, over)]
        row(name, str(taps), *figures, "met" if met else "not met")


def _basis(distance, terms):
    waves = np.cos(2.0 * np.pi / TAPS * distance[:, None] * np.arange(terms))
    return np.sinc(distance)[:, None] * waves * (np.abs(distance) <= TAPS / 2)[:, None]


def design(fractions=13, directions=12):
    """The least ringing beyond three samples from a step, under limits a little narrower than those wanted.

    A complex error within a limit is taken as within a polygon of so many sides.
    """
    terms = len(WINDOW)
    around = np.exp(-2j * np.pi * np.arange(directions) / directions)
    share = np.r_[np.linspace(0.0, 0.5, 36), np.linspace(0.515, 0.8, 25), np.linspace(0.81, 1.0, 20)]
    within = np.where(share <= 0.656, 10.0 ** (-63.0 / 20.0), 10.0 ** (-40.3 / 20.0)) * np.cos(np.pi / directions)
    within[0] = 1e-4
    rows, limits = [], []

    def at_most(weights, ringing, limit):
        rows.append(np.r_[weights, ringing])
        limits.append(limit)

    for fraction in np.linspace(0.0, 0.5, fractions):
        distance = fraction - np.arange(1 - TAPS // 2, TAPS // 2 + 1)
        basis = _basis(distance, terms)
        for at, response in enumerate(np.exp(-1j * np.pi * share[:, None] * distance) @ basis):
            for direction in around:
                known = direction.real + within[at] if share[at] <= 0.8001 else 1.03
                at_most((response * direction).real, 0.0, known)
        for away, stepped in zip(distance, np.cumsum(basis, axis=0)):
            at_most(stepped, 0.0, 1.1197)
            at_most(-stepped, 0.0, 0.1197)
            if away < -2.5 or away > 3.0:
                beyond = 1.0 if away < 0.0 else 0.0
                at_most(stepped, -1.0, beyond)
                at_most(-stepped, -1.0, -beyond)
    bounds = [(None, None)] * terms + [(0.0, None)]
    found = linprog(np.r_[np.zeros(terms), 1.0], A_ub=np.array(rows), b_ub=limits, bounds=bounds, method="highs")
    heading("coefficient", "as drawn with", "as found")
    for k, (used, new) in enumerate(zip(WINDOW, found.x)):
        row(str(k), f"{used:.5f}", f"{new:.5f}")
    print(f"\nRinging beyond three samples: {100.0 * found.x[-1]:.1f} % of the step.")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", choices=["speed", "blocks", "kernel", "design", []])
    parser.add_argument("--rounds", type=int, default=9)
    args = parser.parse_args()
    print(machine())
    for part in args.parts or ["speed", "blocks", "kernel", "design"]:
        print(f"\n## {part}\n")
        if part in ("speed", "blocks"):
            {"speed": speed, "blocks": blocks}[part](args.rounds)
        else:
            {"kernel": kernels, "design": design}[part]()


if __name__ == "__main__":
    main()

"""What drawing a picture anew costs, and what its kernel does to a picture, as Markdown tables.

.venv/bin/python tests/bench/resampling.py [speed] [blocks] [kernel] [design] [--rounds 9]

``speed``: one 1080p eye of noise in several formats, moved sideways, moved and zoomed, moved, zoomed and turned. The
placement is another one each time, as in a shot whose move is eased, so that weights are made anew as well. Time of the
processor for one eye on one thread, and time on the clock for two eyes on two threads; the least of the rounds.
``blocks``: the same for other numbers of outputs in one matrix product. ``kernel``: error against an exact shift,
overshoot, least gain and ringing, worst case over a hundred fractions of a sample. ``design``: what can be had with how
many taps, and the linear programme that gives the coefficients.
"""

import argparse
import sys
import threading
import time
from functools import partial
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
    """What a kernel does, worst case over :data:`FRACTIONS`.

    Error in dB up to 0.5, 0.65 and 0.8 of Nyquist; overshoot in per cent of a full step; least gain at any frequency,
    which is the part of a wave that is drawn where it belongs; ringing farther than three samples from a step, in per
    cent of it, and the samples after which it stays under 1 %.
    """
    share = np.linspace(0.0, 1.0, 401)
    error, over, gain, ringing = np.zeros_like(share), 0.0, 1.0, []
    for fraction in FRACTIONS:
        distance = fraction - np.arange(1 - taps // 2, taps // 2 + 1)
        weights = weigh(distance)
        weights = weights / weights.sum()
        response = np.exp(-1j * np.pi * share[:, None] * distance) @ weights
        error = np.maximum(error, np.abs(response - 1.0))
        gain = min(gain, response.real.min())
        stepped = np.cumsum(weights)
        over = max(over, stepped.max() - 1.0, -stepped.min())
        ringing.append(np.c_[np.abs(distance - 0.5), np.abs(stepped - (distance < 0.5))])
    away, rings = np.concatenate(ringing).T
    decibels = [20.0 * np.log10(error[share <= limit + 1e-9].max()) for limit in (0.5, 0.65, 0.8)]
    return [*decibels, 100.0 * over, gain, 100.0 * rings[away > 3.0].max(), away[rings > 0.01].max()]


FIGURES = (
    "to 0.5, dB",
    "to 0.65, dB",
    "to 0.8, dB",
    "overshoot, %",
    "least gain",
    "ringing, %",
    "over 1 % until, samples",
)


def _cells(figures):
    return [f"{figure:.{digits}f}" for figure, digits in zip(figures, (1, 1, 1, 2, 3, 2, 1))]


def kernels():
    heading("window", "taps", *FIGURES, "")
    tried = [(f"Kaiser, beta {beta}", _kaiser(beta, taps), taps) for taps in (16, 32) for beta in (4.5, 5.4, 6.0, 7.0)]
    tried += [("Lanczos", _lanczos(taps // 2), taps) for taps in (16, 32)]
    for name, weigh, taps in [*tried, ("cosines", kernel, TAPS)]:
        figures = _figures(weigh, taps)
        met = figures[0] <= TO_HALF_DB and figures[2] <= TO_08_DB and figures[3] <= OVERSHOOT_PCT
        row(name, str(taps), *_cells(figures), "met" if met else "not met")


def _basis(distance, taps, terms):
    waves = np.cos(2.0 * np.pi / taps * distance[:, None] * np.arange(terms))
    return np.sinc(distance)[:, None] * waves * (np.abs(distance) <= taps / 2)[:, None]


def _found(taps, terms, most_over=None, most_turned=None):
    """Coefficients that turn waves over least with no more overshoot than given, or overshoot least with waves turned
    over no more than given.

    The other limits: the error as a complex number within a polygon (66 dB up to half of Nyquist, 62 dB up to 0.65,
    40.3 dB up to 0.8); no wave above 0.8 drawn 2 % too high; and 16 samples from a picture's edge, beyond which its
    outermost sample is repeated, no wave up to 0.65 changed by more than 0.5 % for it, and less farther in. With as
    many terms as half the taps, each fraction would be free of all others; more than a quarter gains next to nothing.
    """
    share = np.linspace(0.0, 0.8, 161)
    within = np.where(share <= 0.6551, 10.0 ** (-62.0 / 20.0), 10.0 ** (-40.3 / 20.0))
    within[share <= 0.5001] = 10.0 ** (-66.0 / 20.0)
    within[0] = 3e-4
    waves = np.linspace(0.05, 0.65, 13)
    above = np.linspace(0.805, 1.0, 40)
    rows, limits = [], []

    def at_most(weights, limit, over=0.0, turned=0.0):
        rows.append(np.c_[weights, np.full(len(weights), -over), np.full(len(weights), -turned)])
        limits.append(np.broadcast_to(limit, len(weights)))

    for fraction in np.linspace(0.0, 0.5, 9):
        distance = fraction - np.arange(1 - taps // 2, taps // 2 + 1)
        basis = _basis(distance, taps, terms)
        response = np.exp(-1j * np.pi * share[:, None] * distance) @ basis
        # Weights are divided by their sum before use, so the error is counted against a constant picture's response.
        for direction in np.exp(2j * np.pi * np.arange(24) / 24.0):
            at_most(((response[1:] - response[0]) * direction).real, within[1:])
            at_most((response[:1] * direction).real, direction.real + within[0])
        gain = (np.exp(-1j * np.pi * above[:, None] * distance) @ basis).real
        at_most(gain, 1.02)
        at_most(-gain, 0.0, turned=1.0)
        stepped = np.cumsum(basis, axis=0)
        at_most(stepped, 1.0, over=1.0)
        at_most(-stepped, 0.0, over=1.0)
        for edge in range(16, taps // 2 - 1):
            for beyond in (distance > edge, distance < -edge):
                apart = np.floor(np.abs(distance[beyond]) - edge) + 1.0
                changed = (np.exp(-1j * np.pi * waves[:, None] * apart) - 1.0) @ basis[beyond]
                for direction in np.exp(2j * np.pi * np.arange(12) / 12.0):
                    at_most((changed * direction).real, 0.005 * 0.85 ** (edge - 16))
    wanted = np.r_[np.zeros(terms), most_over is None, most_turned is None].astype(float)
    bounds = [(None, None)] * terms + [(0.0, most_over), (0.0, most_turned)]
    return linprog(wanted, A_ub=np.vstack(rows), b_ub=np.concatenate(limits), bounds=bounds, method="highs").x[:terms]


def design():
    """What can be had with so many taps, and the coefficients for as many as are used."""
    heading("taps", "least", *FIGURES)
    for taps in (32, 36, 40, 44, 48, 64):
        for name, limits in (("turning over", {"most_over": 0.1198}), ("overshoot", {"most_turned": 0.047})):
            coefficients = _found(taps, taps // 4, **limits)
            weigh = partial(_weigh, taps=taps, coefficients=coefficients)
            row(str(taps), name, *_cells(_figures(weigh, taps)))
    print()
    heading("coefficient", "as drawn with", "as found")
    for k, (used, new) in enumerate(zip(WINDOW, _found(TAPS, len(WINDOW), most_over=0.1198))):
        row(str(k), f"{used:.5f}", f"{new:.5f}")


def _weigh(distance, taps, coefficients):
    return _basis(distance, taps, len(coefficients)) @ coefficients


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

"""Procedural materials: wood, sand, grass, sea, stone, cloth, clouds; rich at every scale and free of aliasing.

A material is painted on a :class:`Grid`, which gives the position on the surface, in metres, of every texture pixel and
how much of the surface one pixel of the final picture covers there. Detail finer than about two such footprints is
left out along each direction separately, so that receding ground stays sharp from side to side right up to the horizon.
All colours are display-coded RGB, 0 to 1. Everything is drawn from seeded generators.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
Colour = tuple[float, float, float]

_TILE_PX = 512
_TILE_WAVE_PX = 9.0
_FINEST_FOOTPRINTS = 2.4
"""Wavelengths shorter than this many footprints are left out entirely; from 1.6 times that they are whole."""


@dataclass(frozen=True)
class Grid:
    """Where each texture pixel lies on its surface.

    Attributes
    ----------
    s, t : ndarray, (rows, columns) float32
        Position in metres, across and along.
    ds, dt : ndarray, (rows, columns) float32
        Extent of one picture pixel's footprint on the surface in each direction, metres.
    even : bool
        True where the surface faces the camera: s depends on the column alone, t on the row, both in equal steps.
    """

    s: Array
    t: Array
    ds: Array
    dt: Array
    even: bool

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.s.shape[0], self.s.shape[1]


def grid_from(s: npt.NDArray[np.float64], t: npt.NDArray[np.float64], density: float, *, even: bool = False) -> Grid:
    """A grid from positions in metres, painted with ``density`` texture pixels per picture pixel."""
    single = np.float32
    if even:
        ds, dt = abs(s[0, 1] - s[0, 0]) * density, abs(t[1, 0] - t[0, 0]) * density
        return Grid(
            s.astype(single), t.astype(single), np.full(s.shape, ds, single), np.full(s.shape, dt, single), True
        )
    s_rows, s_columns = np.gradient(s)
    t_rows, t_columns = np.gradient(t)
    across = np.hypot(s_rows, s_columns) * density
    along = np.hypot(t_rows, t_columns) * density
    return Grid(s.astype(single), t.astype(single), across.astype(single), along.astype(single), False)


def turned(grid: Grid) -> Grid:
    """The same surface with s and t exchanged, for materials laid the other way."""
    return Grid(grid.t, grid.s, grid.dt, grid.ds, False)


def _keep(waves_per_footprint: Array) -> Array:
    """Weight of a wavelength that spans so many footprints: 0 where it would alias, 1 where it is safe."""
    ramp = np.clip((waves_per_footprint / _FINEST_FOOTPRINTS - 1.0) / 0.6, 0.0, 1.0)
    return np.asarray(ramp * ramp * (3.0 - 2.0 * ramp), dtype=np.float32)


@lru_cache(maxsize=8)
def _tile(number: int) -> Array:
    """Periodic noise of one wavelength band, zero mean, unit deviation."""
    rng = np.random.default_rng((7, number))
    spectrum = np.fft.rfft2(rng.standard_normal((_TILE_PX, _TILE_PX)))
    radius = np.hypot(np.fft.fftfreq(_TILE_PX)[:, None], np.fft.rfftfreq(_TILE_PX)[None, :]) * _TILE_WAVE_PX
    radius[0, 0] = 1e-9
    spectrum *= np.exp(-((np.log2(radius) / 0.55) ** 2))
    tile = np.fft.irfft2(spectrum, (_TILE_PX, _TILE_PX))
    out: Array = (tile / tile.std()).astype(np.float32)
    out.setflags(write=False)
    return out


def wave(grid: Grid, seed: int, length_s: float, length_t: float) -> Array:
    """Noise of one wavelength, (rows, columns), about unit deviation, faded out where it is too fine to show."""
    keep = _keep(np.minimum(length_s / grid.ds, length_t / grid.dt))
    if not keep.any():
        return np.zeros(grid.shape, np.float32)
    offset = np.random.default_rng((11, seed)).uniform(0.0, _TILE_PX, 2)
    x = np.mod(grid.s * np.float32(_TILE_WAVE_PX / length_s) + np.float32(offset[0]), np.float32(_TILE_PX))
    y = np.mod(grid.t * np.float32(_TILE_WAVE_PX / length_t) + np.float32(offset[1]), np.float32(_TILE_PX))
    noise = cv2.remap(_tile(seed % 8), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(noise * keep, dtype=np.float32)


def fractal(
    grid: Grid, seed: int, longest: float, shortest: float, *, slope: float = 0.5, stretch_t: float = 1.0
) -> Array:
    """Noise of many wavelengths, (rows, columns), about unit deviation before fading.

    Parameters
    ----------
    longest, shortest : float
        Wavelengths across, metres. Along they are ``stretch_t`` times as long.
    slope : float
        Amplitude grows as wavelength to this power: 0 is gritty, 1 is cloudy.
    """
    if grid.even:
        return _spectral(grid, seed, longest, shortest, slope, stretch_t)
    total = np.zeros(grid.shape, np.float32)
    power, length, number = 0.0, longest, 0
    while length >= shortest:
        amplitude = (length / longest) ** slope
        total += np.float32(amplitude) * wave(grid, seed * 31 + number, length, length * stretch_t)
        power += amplitude**2
        length, number = length / 1.9, number + 1
    return np.asarray(total / np.float32(np.sqrt(power)), dtype=np.float32)


def _spectral(grid: Grid, seed: int, longest: float, shortest: float, slope: float, stretch_t: float) -> Array:
    """As :func:`fractal`, in one transform, where the grid is even."""
    rows, columns = (cv2.getOptimalDFTSize(n) for n in grid.shape)
    rng = np.random.default_rng((13, seed))
    step_s = float(grid.s[0, 1] - grid.s[0, 0])
    step_t = float(grid.t[1, 0] - grid.t[0, 0])
    frequency_s = np.fft.rfftfreq(columns, abs(step_s)).astype(np.float32)[None, :]
    frequency_t = (np.fft.fftfreq(rows, abs(step_t)) * stretch_t).astype(np.float32)[:, None]
    # Squared radius in waves per metre, and squared share of the finest wave that may show.
    radius = frequency_s**2 + frequency_t**2
    radius[0, 0] = 1e-12
    floor_s = _FINEST_FOOTPRINTS * float(grid.ds[0, 0])
    floor_t = _FINEST_FOOTPRINTS * float(grid.dt[0, 0]) / stretch_t
    fine = (frequency_s * floor_s) ** 2 + (frequency_t * floor_t) ** 2
    band = -fine * fine - 1.0 / (radius * (longest * 1.3) ** 2) - radius * (shortest / 1.3) ** 2
    amplitude = np.exp(band - (0.5 + 0.5 * slope) * np.log(radius))
    amplitude[0, 0] = 0.0
    spectrum = np.fft.rfft2(rng.standard_normal((rows, columns), np.float32))
    noise = np.fft.irfft2(spectrum * amplitude, (rows, columns))[: grid.shape[0], : grid.shape[1]]
    return np.asarray(noise / (noise.std() + 1e-12), dtype=np.float32)


def mix(share: Array, first: Colour | Array, second: Colour | Array) -> Array:
    """Blend of two colours, (rows, columns, 3): ``first`` where the share is 0, ``second`` where it is 1."""
    weight = np.clip(share, 0.0, 1.0)[..., None]
    a, b = np.asarray(first, np.float32), np.asarray(second, np.float32)
    return np.asarray(a + (b - a) * weight, dtype=np.float32)


def shade(colour: Array, amount: Array | float) -> Array:
    """Colour made lighter or darker by a factor, (rows, columns, 3)."""
    factor = amount if isinstance(amount, float) else np.asarray(amount)[..., None]
    return np.asarray(colour * factor, dtype=np.float32)


def plain(grid: Grid, seed: int, colour: Colour, *, roughness: float = 0.08, size: float = 0.05) -> Array:
    """One colour with wear and grit, for small things; ``size`` in metres is its coarsest mark."""
    noise = fractal(grid, seed, size, size / 60.0, slope=0.35)
    return shade(np.broadcast_to(np.asarray(colour, np.float32), (*grid.shape, 3)), 1.0 + np.float32(roughness) * noise)


def planks(
    grid: Grid, seed: int, colour: Colour, *, board: float = 0.14, contrast: float = 1.0, joint: float = 0.004
) -> Array:
    """Boards that run along t, side by side along s, ``board`` metres wide, with their own tones and grain."""
    number = np.floor(grid.s / np.float32(board))
    tones = np.random.default_rng((17, seed)).uniform(-1.0, 1.0, 257).astype(np.float32)
    pick = np.mod(number.astype(np.int64), 257)
    across = np.abs(grid.s - (number + 0.5) * np.float32(board))
    reach = np.maximum(np.float32(joint), 0.7 * grid.ds)
    gap = np.clip((across - (board / 2.0 - reach)) / reach, 0.0, 1.0) * np.minimum(1.0, joint / (0.7 * grid.ds) + 0.25)
    # Each board is cut from another place of the same tree.
    moved = Grid(grid.s, grid.t + tones[(pick * 7) % 257] * np.float32(9.0), grid.ds, grid.dt, False)
    grain = fractal(moved, seed, board * 0.45, 0.0012, slope=0.25, stretch_t=14.0)
    wear = fractal(grid, seed + 1, board * 4.0, 0.004, slope=0.5)
    # Dents and dust, alike in both directions: grain alone tells a matcher nothing along the boards.
    dents = fractal(grid, seed + 2, board * 0.5, 0.003, slope=0.05)
    light = 1.0 + contrast * (0.11 * tones[pick] + 0.09 * grain + 0.05 * wear + 0.085 * dents)
    warm = mix(0.5 + 0.25 * wear, colour, (colour[0] * 0.92, colour[1] * 0.96, colour[2] * 1.05))
    return shade(warm, np.asarray(light * (1.0 - 0.62 * gap), np.float32))


def stones(grid: Grid, seed: int, colour: Colour, *, course: float = 0.26, joint: float = 0.016) -> Array:
    """A wall of coursed stones with pale joints: courses along t, stones along s."""
    rng = np.random.default_rng((19, seed))
    tones = rng.uniform(-1.0, 1.0, (64, 257)).astype(np.float32)
    row = np.floor(grid.t / np.float32(course))
    row_pick = np.mod(row.astype(np.int64), 64)
    length = np.float32(course) * (1.5 + 0.5 * tones[row_pick, 0])
    along = grid.s / length + tones[row_pick, 1] * 5.0
    bend = 0.035 * fractal(grid, seed + 5, course * 2.0, course * 0.4)
    number = np.floor(along + bend)
    pick = np.mod(number.astype(np.int64), 257)
    to_side = (0.5 - np.abs(along + bend - number - 0.5)) * length
    to_course = (0.5 - np.abs(grid.t / np.float32(course) - row - 0.5)) * np.float32(course)
    reach_s, reach_t = np.maximum(joint, grid.ds), np.maximum(joint, grid.dt)
    mortar = np.maximum(
        np.clip(1.6 - to_side / reach_s, 0.0, 1.0) * np.minimum(1.0, joint / grid.ds),
        np.clip(1.6 - to_course / reach_t, 0.0, 1.0) * np.minimum(1.0, joint / grid.dt),
    )
    tone = tones[row_pick, pick] * np.clip(course / (2.0 * np.maximum(grid.ds, grid.dt)), 0.0, 1.0)
    rough = fractal(grid, seed, course, 0.004, slope=0.25)
    body = mix(0.5 + 0.4 * tone, (colour[0] * 0.84, colour[1] * 0.86, colour[2] * 0.90), colour)
    body = shade(body, np.asarray(1.0 + 0.07 * tone + 0.10 * rough, np.float32))
    edge = shade(mix(np.zeros(grid.shape, np.float32), (0.66, 0.64, 0.58), (0, 0, 0)), 1.0 + 0.08 * rough)
    return mix(np.asarray(0.75 * mortar, np.float32), body, edge)


def sand(grid: Grid, view: Grid, seed: int) -> Array:
    """Dry sand with wind ripples that run across.

    ``view`` is the even grid of picture pixels: grit is drawn in it, since a person sees grit of about the same size
    near and far, and a matcher needs something to hold on to right up to the water.
    """
    broad = fractal(grid, seed, 9.0, 0.3, slope=0.6, stretch_t=1.6)
    ripples = wave(grid, seed + 2, 1.1, 0.16) + 0.6 * wave(grid, seed + 3, 0.6, 0.09)
    grit = fractal(view, seed + 5, 26.0, 2.0, slope=0.05, stretch_t=0.45)
    body = mix(0.5 + 0.22 * broad, (0.66, 0.55, 0.40), (0.90, 0.82, 0.66))
    return shade(body, np.asarray(1.0 + 0.035 * ripples + 0.075 * grit, np.float32))


def sea(view: Grid, seed: int) -> Array:
    """Water far away with wave crests that run across and foam on some; ``view`` is the even grid of picture pixels."""
    swell = fractal(view, seed, 260.0, 8.0, slope=0.4, stretch_t=0.07)
    chop = fractal(view, seed + 9, 40.0, 2.0, slope=0.1, stretch_t=0.25)
    body = mix(0.5 + 0.2 * swell, (0.17, 0.36, 0.43), (0.40, 0.60, 0.61))
    foam = np.clip((0.6 * swell + 0.6 * chop - 1.3) * 1.5, 0.0, 1.0)
    return mix(np.asarray(foam, np.float32), shade(body, 1.0 + 0.10 * chop), (0.92, 0.94, 0.92))


def grass(grid: Grid, seed: int) -> Array:
    """Dune grass bent by the wind, upright along t."""
    lean = Grid(grid.s + np.float32(0.35) * grid.t, grid.t, grid.ds, grid.dt, False)
    blades = fractal(lean, seed, 0.5, 0.008, slope=0.25, stretch_t=6.0)
    clumps = fractal(grid, seed + 1, 6.0, 0.25, slope=0.6)
    body = mix(0.5 + 0.2 * clumps + 0.16 * blades, (0.34, 0.37, 0.20), (0.76, 0.70, 0.44))
    return shade(body, np.asarray(1.0 + 0.16 * blades, np.float32))


def cloth(grid: Grid, seed: int, colour: Colour | Array, *, thread: float = 0.004, folds: float = 0.06) -> Array:
    """Woven cloth: every thread has its own tone, so that the weave does not repeat; soft upright folds."""
    rng = np.random.default_rng((23, seed))
    tones = rng.standard_normal((2, 4096)).astype(np.float32)
    warp = _threads(grid.s, grid.ds, tones[0], thread)
    weft = _threads(grid.t, grid.dt, tones[1], thread)
    slub = fractal(grid, seed, 0.12, thread * 0.5, slope=0.25, stretch_t=0.35)
    fold = fractal(grid, seed + 1, 0.5, 0.06, slope=0.8, stretch_t=5.0)
    light = 1.0 + 0.05 * (warp + weft) + 0.07 * slub + folds * fold
    body = np.broadcast_to(np.asarray(colour, np.float32), (*grid.shape, 3))
    return shade(body, np.asarray(light, np.float32))


def _threads(position: Array, footprint: Array, tones: Array, thread: float) -> Array:
    # Threads finer than a picture pixel are bundled until they can be told apart without aliasing.
    bundle = np.float32(max(thread, _FINEST_FOOTPRINTS * float(np.median(footprint))))
    at = position / bundle
    low = np.floor(at)
    part = at - low
    part = part * part * (3.0 - 2.0 * part)
    number = np.mod(low.astype(np.int64), tones.size)
    return np.asarray(tones[number] * (1.0 - part) + tones[(number + 1) % tones.size] * part, dtype=np.float32)


def clouds(grid: Grid, seed: int, *, cover: float = 0.5, top: Colour, bottom: Colour) -> Array:
    """Sky from ``top`` to ``bottom`` along t (the whole height of the grid), with clouds torn by wind along s."""
    height = (grid.t - grid.t.min()) / np.float32(np.ptp(grid.t))
    span = float(np.ptp(grid.s))
    torn = Grid(grid.s + np.float32(0.6) * grid.t, grid.t, grid.ds, grid.dt, grid.even)
    big = fractal(torn, seed, span * 0.30, span * 0.003, slope=0.95, stretch_t=0.42)
    wisps = fractal(torn, seed + 1, span * 0.12, span * 0.002, slope=0.45, stretch_t=0.30)
    body = np.clip((big + 0.28 * wisps + (cover - 0.5) * 2.0) * 0.75, 0.0, 1.0)
    below = np.roll(big, -max(2, grid.shape[0] // 40), axis=0)
    light = np.clip(0.5 + 0.28 * (big - below) + 0.10 * wisps, 0.0, 1.0)
    blue = mix(np.asarray(height**0.8, np.float32), top, bottom)
    haze = fractal(grid, seed + 2, span * 0.03, span * 0.002, slope=0.1)
    blue = shade(blue, np.asarray(1.0 + 0.025 * wisps + 0.014 * haze, np.float32))
    white = mix(np.asarray(light, np.float32), (0.66, 0.70, 0.75), (0.98, 0.97, 0.94))
    return mix(np.asarray(body * (0.92 - 0.35 * height), np.float32), blue, white)

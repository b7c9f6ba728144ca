"""Moving clips of both eyes in which the right eye is late by a known number of frames.

Photographed pairs under a moving camera, made-up layers and things that move in front of a photographed pair, and a
shot of the demo film. Both eyes see the same movement, the right one later by the offset (computed: that is how they
are made), each with noise of 2 %, the right one brighter or darker, a little higher or lower, with its own parallax.
"""

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from real_pairs import real_pairs

from postfix.demo.film import FILM
from postfix.measure.sync import shot_offset, sync_signature

WIDTH, HEIGHT = 480, 270
NOISE = 0.02
MOST_FRAMES_LATE = 12
_SPARE = MOST_FRAMES_LATE
_GREY = np.array([0.2126, 0.7152, 0.0722], np.float32)


@dataclass(frozen=True)
class MovingClip:
    """Frames (h, w) uint8 of both eyes, and how many frames later the right eye shows what the left eye shows."""

    name: str
    left: list
    right: list
    offset_frames: int


@dataclass(frozen=True)
class _Stage:
    """What a clip is made of: ``shown(eye, time)`` gives a picture (h, w) float32 0..1 at a time in frames."""

    name: str
    shown: object


def moving_clip(seed):
    """One of the twenty and more clips that move enough to tell the offset; all of it drawn from the seed."""
    makers = (_hand_held, _eased_pan, _zoom, _following, _crossing, _small_mover, _layers)
    rng = np.random.default_rng(1000 + seed)
    frames = int(rng.integers(24, 61))
    late = int(rng.integers(-MOST_FRAMES_LATE, MOST_FRAMES_LATE + 1))
    if seed % 20 == 19:
        return _filmed(_flying_kite(), rng, 32, late)
    return _filmed(makers[seed % len(makers)](rng, frames), rng, frames, late)


def telltale_free_clip(seed):
    """A clip that cannot tell the offset, or only within several frames: still, steady, level or periodic."""
    makers = (_still, _steady_pan, _steady_tilt, _level_crossing, _swing, _steady_zoom)
    rng = np.random.default_rng(5000 + seed)
    frames = int(rng.integers(24, 61))
    late = int(rng.integers(-MOST_FRAMES_LATE, MOST_FRAMES_LATE + 1))
    return _filmed(makers[seed % len(makers)](rng, frames), rng, frames, late)


def steady_pan_clip(seed):
    """A steady pan over a photographed pair or over one backdrop, here with things before it: it cannot tell.

    The made-up ones have a parallax of −6 to +2 % of the width; noise of 0 to 3 %, in sync in two of three.
    """
    rng = np.random.default_rng(9000 + seed)
    frames = int(rng.integers(24, 61))
    late = int(rng.integers(-MOST_FRAMES_LATE, MOST_FRAMES_LATE + 1)) if seed % 3 == 2 else 0
    stage = (_steady_pan, _pan_past_things)[seed % 2](rng, frames)
    return _filmed(stage, rng, frames, late, float(rng.choice((0.0, 0.008, 0.015, 0.03))))


def found_in(clip):
    """What is measured of a clip: (offset in frames, confidence)."""
    return shot_offset([sync_signature(left, right) for left, right in zip(clip.left, clip.right)])


def evaluate(seed):
    """One row of a table: true offset, found offset (NaN where it was not told), confidence."""
    clip = moving_clip(seed)
    return (clip.offset_frames, *found_in(clip))


def _filmed(stage, rng, frames, late, noise=NOISE):
    gain, black = rng.uniform(0.8, 1.2), rng.uniform(-0.02, 0.02)
    down = np.array([[1, 0, 0], [0, 1, rng.uniform(-0.01, 0.01) * HEIGHT]], np.float32)
    left, right = [], []
    for frame in range(frames):
        left.append(_noisy(stage.shown("left", frame), rng, noise))
        seen = cv2.warpAffine(
            stage.shown("right", frame - late), down, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REPLICATE
        )
        right.append(_noisy(seen * gain + black, rng, noise))
    return MovingClip(stage.name, left, right, late)


def _noisy(picture, rng, size):
    noise = rng.standard_normal(picture.shape, np.float32) * np.float32(size)
    return np.clip((picture + noise) * 255.0 + 0.5, 0, 255).astype(np.uint8)


@cache
def _photographs():
    """Both eyes of every real pair as luma 0..1, 900 wide, the middle of their parallax brought to the screen."""
    pairs = []
    for pair in real_pairs():
        width = pair.left.shape[1]
        near, _, far = pair.truth_pct
        level = np.float32([[1, 0, -(near + far) / 200 * width], [0, 1, 0]])
        eyes = (
            pair.left,
            cv2.warpAffine(pair.right, level, pair.right.shape[1::-1], borderMode=cv2.BORDER_REFLECT),
        )
        size = (900, round(900 * pair.left.shape[0] / width))
        pairs.append([cv2.resize(eye, size, interpolation=cv2.INTER_CUBIC) @ _GREY / np.float32(255) for eye in eyes])
    return pairs


def _photograph(rng):
    pairs = _photographs()
    left, right = pairs[int(rng.integers(len(pairs)))]
    return {"left": left, "right": right}


def _camera(rng, path):
    """A camera over a photographed pair: ``path(time)`` gives shares of width across and down, zoom, turn in °."""
    eyes = _photograph(rng)
    height, width = eyes["left"].shape
    hit = rng.uniform(-0.03, 0.03) * WIDTH

    def shown(eye, time):
        across, down, zoom, turn = path(time)
        scale = zoom * 1.45 * WIDTH / width
        matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, scale)
        matrix[:, 2] += (WIDTH / 2 - width / 2 - across * WIDTH, HEIGHT / 2 - height / 2 - down * WIDTH)
        matrix[0, 2] += hit if eye == "right" else 0.0
        return cv2.warpAffine(eyes[eye], matrix, (WIDTH, HEIGHT), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)

    return shown


def _wander(rng, frames, size, smooth):
    """An uneven path of about ``size``: noise smoothed over ``smooth`` frames."""
    count = frames + 2 * _SPARE + 2
    steps = rng.standard_normal(count + 8 * smooth)
    for _ in range(2):
        steps = np.convolve(steps, np.ones(smooth) / smooth, "same")
    steps = steps[4 * smooth : 4 * smooth + count]
    steps = (steps - steps.mean()) * size / steps.std()
    return lambda time: float(np.interp(time + _SPARE, np.arange(count), steps))


def _ease(time, start, length):
    share = np.clip((time - start) / length, 0.0, 1.0)
    return float(share * share * (3.0 - 2.0 * share))


def _hand_held(rng, frames):
    size = rng.uniform(0.002, 0.012)
    across, down, turn = (_wander(rng, frames, s, 3) for s in (size, size, 40 * size))
    return _Stage("hand-held", _camera(rng, lambda t: (across(t), down(t), 1.0, turn(t))))


def _eased_pan(rng, frames):
    start, length = rng.uniform(0.1, 0.4) * frames, rng.uniform(0.3, 0.5) * frames
    far, rise = rng.uniform(0.1, 0.2) * rng.choice((-1, 1)), rng.uniform(-0.02, 0.02)

    def path(time):
        gone = _ease(time, start, length)
        return far * (gone - 0.5), rise * gone, 1.0, 0.0

    return _Stage("pan that starts and stops", _camera(rng, path))


def _zoom(rng, frames):
    start, length = rng.uniform(0.1, 0.3) * frames, rng.uniform(0.25, 0.4) * frames
    much = rng.uniform(0.15, 0.4)

    def path(time):
        return 0.0, 0.0, 1.0 + much * (_ease(time, start, length) - 0.5 * _ease(time, start + length, length)), 0.0

    return _Stage("zoom in and half out", _camera(rng, path))


def _following(rng, frames):
    uneven, tilt = _wander(rng, frames, 0.03, 6), _wander(rng, frames, 0.012, 8)
    speed = rng.uniform(-0.004, 0.004)
    return _Stage("uneven pan", _camera(rng, lambda t: (speed * (t - frames / 2) + uneven(t), tilt(t), 1.0, 0.0)))


def _thing(rng, size_share):
    """A textured disc of that share of the width, with its soft outline."""
    size = max(8, round(size_share * WIDTH))
    texture = cv2.GaussianBlur(rng.standard_normal((size, size)).astype(np.float32), (0, 0), 1.5)
    texture = np.clip(rng.uniform(0.25, 0.75) + 0.18 * texture / texture.std(), 0, 1)
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    return texture, np.clip(size / 2 - np.hypot(x, y), 0, 1).astype(np.float32)


def _laid_over(picture, thing, x, y):
    """A thing with its middle at a place in pixels, to a fraction of one."""
    texture, mask = thing
    place = np.float32([[1, 0, x - texture.shape[1] / 2], [0, 1, y - texture.shape[0] / 2]])
    put, over = (cv2.warpAffine(part, place, (WIDTH, HEIGHT)) for part in (texture * mask, mask))
    return picture * (1 - over) + put


def _things_over(rng, backdrop, things):
    """Things (thing, path, parallax in shares of width) over a backdrop ``shown(eye, time)``, back to front."""

    def shown(eye, time):
        picture = backdrop(eye, time)
        for thing, path, parallax in things:
            x, y = path(time)
            aside = parallax / 2 * (1 if eye == "right" else -1)
            picture = _laid_over(picture, thing, (x + aside) * WIDTH, y * HEIGHT)
        return picture

    return shown


def _still_camera(rng):
    return _camera(rng, lambda t: (0.0, 0.0, 1.0, 0.0))


def _crossing(rng, frames):
    way, speed = rng.choice((-1, 1)), rng.uniform(0.012, 0.03)
    high, hops, phase = rng.uniform(0.08, 0.2), rng.uniform(18, 34), rng.uniform(0, 6)

    def path(t):
        return (0.5 + way * speed * (t - frames / 2), 0.5 + high * np.sin(2 * np.pi * t / hops + phase))

    thing = (_thing(rng, rng.uniform(0.1, 0.2)), path, rng.uniform(-0.06, 0.0))
    return _Stage("something crossing on a bow", _things_over(rng, _still_camera(rng), [thing]))


def _small_mover(rng, frames):
    across, down = _wander(rng, frames, 0.05, 5), _wander(rng, frames, 0.08, 5)
    middle = rng.uniform(0.3, 0.7), rng.uniform(0.35, 0.65)

    def path(t):
        return (middle[0] + across(t), middle[1] + down(t))

    thing = (_thing(rng, rng.uniform(0.04, 0.08)), path, rng.uniform(-0.04, 0.02))
    return _Stage("still camera, something small moving", _things_over(rng, _still_camera(rng), [thing]))


def _layers(rng, frames):
    things = []
    for parallax in sorted(rng.uniform(-0.08, 0.04, 4), reverse=True):
        across, down = _wander(rng, frames, 0.04, 6), _wander(rng, frames, 0.04, 6)
        place = rng.uniform(0.1, 0.9), rng.uniform(0.15, 0.85)

        def path(t, across=across, down=down, place=place):
            return (place[0] + across(t), place[1] + down(t))

        things.append((_thing(rng, rng.uniform(0.12, 0.35)), path, parallax))
    return _Stage("layers, each on its own way", _things_over(rng, _still_camera(rng), things))


def _flying_kite():
    # Its grain is drawn from the frame's number, and there are times before the first frame; noise is added anyway.
    scene = replace(next(shot for shot in FILM if shot.name == "kite").scene, grain=0.0)

    @cache
    def pair(time):
        return [cv2.resize(eye @ _GREY, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA) for eye in scene.render(time)]

    return _Stage("the demo film's kite", lambda eye, time: pair(time)[eye == "right"])


def _still(rng, frames):
    return _Stage("still", _still_camera(rng))


def _steady_pan(rng, frames):
    speed = rng.uniform(0.002, 0.006) * rng.choice((-1, 1))
    return _Stage("steady pan", _camera(rng, lambda t: (speed * (t - frames / 2), 0.0, 1.0, 0.0)))


def _pan_past_things(rng, frames):
    """One flat backdrop at its own parallax that slides by, and at other speeds two or three things before it."""
    photograph = _photograph(rng)["left"]
    speed = rng.uniform(0.003, 0.015) * rng.choice((-1, 1))
    far, *nearer = sorted(rng.uniform(-0.06, 0.02, 3), reverse=True)
    scale = 1.45 * WIDTH / photograph.shape[1]
    start = rng.uniform(-0.3, 0.3)

    def backdrop(eye, time):
        across = start - speed * time + far / 2 * (1 if eye == "right" else -1)
        place = np.array([[scale, 0, across * WIDTH], [0, scale, -0.05 * HEIGHT]], np.float32)
        return cv2.warpAffine(photograph, place, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT)

    things = []
    for parallax in nearer:
        pace, x, y = speed * rng.uniform(-0.3, 0.5), rng.uniform(0.2, 0.8), rng.uniform(0.3, 0.7)

        def path(t, pace=pace, x=x, y=y):
            return (x - pace * (t - frames / 2), y)

        things.append((_thing(rng, rng.uniform(0.25, 0.45)), path, parallax))
    return _Stage("steady pan past things", _things_over(rng, backdrop, things))


def _steady_tilt(rng, frames):
    speed = rng.uniform(0.001, 0.002) * rng.choice((-1, 1))
    return _Stage("steady tilt", _camera(rng, lambda t: (0.0, speed * (t - frames / 2), 1.0, 0.0)))


def _steady_zoom(rng, frames):
    speed = rng.uniform(0.001, 0.004)
    return _Stage("steady zoom", _camera(rng, lambda t: (0.0, 0.0, np.exp(speed * (t - frames / 2)), 0.0)))


def _level_crossing(rng, frames):
    way, speed, y = rng.choice((-1, 1)), rng.uniform(0.006, 0.03), rng.uniform(0.3, 0.7)

    def path(t):
        return (0.5 + way * speed * (t - frames / 2), y)

    thing = (_thing(rng, rng.uniform(0.08, 0.25)), path, rng.uniform(-0.08, 0.04))
    return _Stage("something crossing level and steadily", _things_over(rng, _still_camera(rng), [thing]))


def _swing(rng, frames):
    period, size = rng.uniform(5, 11), rng.uniform(0.02, 0.08)

    def path(t):
        return (0.5 + size * np.sin(2 * np.pi * t / period), 0.5 + 0.5 * size * np.cos(2 * np.pi * t / period))

    thing = (_thing(rng, rng.uniform(0.08, 0.2)), path, rng.uniform(-0.06, 0.02))
    return _Stage("swinging to and fro", _things_over(rng, _still_camera(rng), [thing]))

"""Depth over the edit: where each shot lies, how far the main mass jumps at each cut, and how deep it looks.

A drawing for each screen that needs no script. A film has thousands of shots: everything of one kind is one path.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from postfix.lengths import length_text
from postfix.review.charts import MOST_NAMED
from postfix.review.clips import ReviewedClip
from postfix.review.logged import Version
from postfix.review.words import count_text, escaped, pct_text
from postfix.story.model import ShotStory, Story

_LEFT, _RIGHT = 74, 36
_LEAST_PLOT, _MOST_PLOT, _SHOT_PX = 1200, 10000, 5
"""Widths of the plot; what is wider than the page scrolls sideways."""

_SIGNS, _TOP, _HEIGHT = 10, 30, 200
_BOTTOM = _TOP + _HEIGHT
_RUNS = _BOTTOM + 8
_VOLUME_TOP, _VOLUME_HEIGHT = _BOTTOM + 48, 74
_VOLUME_BOTTOM = _VOLUME_TOP + _VOLUME_HEIGHT
_TOTAL = _VOLUME_BOTTOM + 26

_AGAIN_PX = 1200
"""After so much of a wide drawing its scale is written again."""

_TIME_PX = 240
_LEAST_JUMP_PX = 0.5
_REACH = 3.0
"""A limit farther away than so many times what was measured lies outside the drawing."""

_FIGURE, _KEPT = re.compile(r"(?<=\d) (?=%|k?m\b|mm\b)"), "\N{NO-BREAK SPACE}"
"""A figure keeps its unit."""

_FAR_WORDS = "far has no distance: eyes parallel or apart"
MEASURED_WORDS = {
    "finished": "Measured on the finished files.",
    "planned": "Reckoned from the source and the plan; the finished files were not measured.",
    "source": "Of the source’s pictures as they were given.",
}


def rhythm_html(clip: ReviewedClip) -> str:
    """The drawings of a clip with what their signs mean; empty where no log tells of it."""
    told = [(index, version) for index, version in enumerate(clip.versions) if version.story is not None]
    if not told:
        return ""
    parts = [_screen(clip, version, index) for index, version in told]
    return (
        f'<section class="rhythm-all"><h3>Depth rhythm</h3><p>Each shot from near to far over time, and how deep it '
        f"looks from the screen’s own seat. Up is behind the screen.</p>{_legend(clip)}{''.join(parts)}</section>"
    )


def _screen(clip: ReviewedClip, version: Version, index: int) -> str:
    story, ident = version.story, f"{clip.ident}r{index}"
    assert story is not None
    name = escaped(version.screen.name)
    limits = version.limits
    words = (
        f"{MEASURED_WORDS[story.measured_on]} {_in_words(story)} Limits: near {pct_text(limits.near_pct)}, "
        f"far {pct_text(limits.far_pct)}."
    )
    return (
        f'<h4>On {name}</h4><div class="box rhythm" tabindex="0" role="region" aria-label="Depth rhythm on {name}" '
        f'data-clip="{clip.ident}" {_shot_numbers(clip, version)}>{rhythm_svg(version, story, ident)}</div>'
        f"<p>{escaped(_FIGURE.sub(_KEPT, words))}</p>"
    )


def _shot_numbers(clip: ReviewedClip, version: Version) -> str:
    """What a click is led by: first frames of the shots, and the numbers of their cards."""
    number = {(s.first, s.last, s.name): n for n, s in enumerate(clip.shots)}
    keys = [(shot.plan.first, shot.plan.last, shot.plan.name) for shot in version.shots]
    numbers = [number[key] for key in keys]
    cards = "" if numbers == list(range(len(numbers))) else f' data-cards="{" ".join(map(str, numbers))}"'
    return f'data-lengths="{" ".join(str(last - first + 1) for first, last, _ in keys)}"{cards}'


def rhythm_svg(version: Version, story: Story, ident: str) -> str:
    """The drawing for one screen as an SVG element.

    Parameters
    ----------
    version : Version
        Its limits, screen, rate and timecodes; the name of the screen becomes part of the title.
    story : Story
    ident : str
        Unique on the page; names the parts that describe the drawing.
    """
    axes = _Axes(version, story.shots)
    parts = [_frame(axes), *_scales(axes), *_limit_lines(axes)]
    kinds = [*_shots(axes), *_jumps(axes), ("run", _runs(axes, story.quick_runs)), *_volumes(axes)]
    parts += [f'<path class="{kind}" d="{path}"/>' for kind, path in kinds if path]
    # Figures amidst a wide drawing stand on what is drawn there.
    parts += [*_figures(axes), *_times(axes)]
    title = f"Depth rhythm on {version.screen.name}"
    return (
        f'<svg class="rhythm-drawing" width="{axes.width}" height="{_TOTAL}" viewBox="0 0 {axes.width} {_TOTAL}" '
        f'data-left="{_LEFT}" data-right="{_RIGHT}" role="img" aria-labelledby="{ident}-title" '
        f'aria-describedby="{ident}-desc"><title id="{ident}-title">{escaped(title)}</title>'
        f'<desc id="{ident}-desc">{escaped(_in_words(story))}</desc>{"".join(parts)}</svg>'
    )


@dataclass(frozen=True)
class _Axes:
    """Time across, parallax up, and beneath it depth volume on a scale of its own."""

    version: Version
    shots: tuple[ShotStory, ...]

    @property
    def width(self) -> int:
        return _LEFT + self.plot + _RIGHT

    @property
    def plot(self) -> int:
        return min(max(_SHOT_PX * len(self.shots), _LEAST_PLOT), _MOST_PLOT)

    @property
    def frames(self) -> int:
        return self.version.clip.frames

    def x(self, frame: int) -> float:
        return _LEFT + self.plot * frame / self.frames

    def span(self, shot: ShotStory) -> tuple[float, float]:
        """Left end and width of a shot's bar, with a little room beside it."""
        left, right = self.x(shot.first), self.x(shot.last + 1)
        gap = min(2.0, 0.2 * (right - left))
        return left + gap / 2.0, right - left - gap

    @cached_property
    def pct(self) -> tuple[float, float]:
        """Least and most of the parallax axis: all that was measured, the screen, and limits that are not far off."""
        ends = [end.parallax_pct for shot in self.shots for end in (shot.depth.near, shot.depth.main, shot.depth.far)]
        known = [pct for pct in ends if math.isfinite(pct)]
        low, high = min(0.0, *known) if known else 0.0, max(0.0, *known) if known else 0.0
        reach = max(_REACH * (high - low), _REACH)
        limits = self.version.limits
        near = [pct for pct in (limits.near_pct, limits.far_pct) if low - reach <= pct <= high + reach]
        low, high = min(low, *near, low), max(high, *near, high)
        pad = max(0.05 * (high - low), 0.05)
        return low - pad, high + pad

    def y(self, pct: float) -> float:
        low, high = self.pct
        return _BOTTOM - _HEIGHT * (pct - low) / (high - low)

    @cached_property
    def decades(self) -> tuple[int, int]:
        """Powers of ten of a metre between which depth volumes are drawn."""
        known = [v for v in (shot.depth.volume_mm for shot in self.shots) if v is not None and v > 0.0]
        if not known:
            return 0, 1
        least = max(min(known), 0.01 * self.version.screen.distance_mm)
        low = min(math.floor(math.log10(least / 1000.0)), 2)
        # Distances grow without end where the eyes come near to parallel; beyond 1 km all bars are as high.
        high = min(math.ceil(math.log10(max(known) / 1000.0)), 3)
        return low, max(high, low + 1)

    @cached_property
    def ticks(self) -> list[float]:
        low, high = self.pct
        step = _nice_step(high - low)
        return [i * step for i in range(math.ceil(low / step), math.floor(high / step) + 1)]

    @property
    def metres(self) -> list[float]:
        first, last = self.decades
        return [10.0**power for power in range(first, last + 1)]

    def volume_y(self, mm: float) -> float:
        low, high = self.decades
        place = (math.log10(max(mm, 1e-9) / 1000.0) - low) / (high - low)
        return _VOLUME_BOTTOM - _VOLUME_HEIGHT * min(max(place, 0.02), 1.0)


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _bar(left: float, top: float, width: float, height: float) -> str:
    return f"M{_n(left)} {_n(top)}h{_n(width)}v{_n(height)}h{_n(-width)}z"


def _shots(axes: _Axes) -> list[tuple[str, str]]:
    """Bars from near to far, ticks at the main masses, and places where nothing was measured."""
    bars, ticks, unknown = [], [], []
    for shot in axes.shots:
        left, width = axes.span(shot)
        near, main, far = (end.parallax_pct for end in (shot.depth.near, shot.depth.main, shot.depth.far))
        if math.isfinite(near) and math.isfinite(far):
            top, bottom = axes.y(max(near, far)), axes.y(min(near, far))
            bars.append(_bar(left, top, width, max(bottom - top, 1.0)))
        else:
            unknown.append(f"M{_n(left)} {_BOTTOM - 5}h{_n(width)}")
        if math.isfinite(main):
            ticks.append(f"M{_n(left)} {_n(axes.y(main))}h{_n(width)}")
    return [("bar", "".join(bars)), ("main", "".join(ticks)), ("unknown", "".join(unknown))]


def _jumps(axes: _Axes) -> list[tuple[str, str]]:
    """A line at each cut as long as the jump, about the middle of both main masses; a sign above the hard ones."""
    plain: list[str] = []
    hard: list[str] = []
    signs: list[str] = []
    for before, shot in zip(axes.shots, axes.shots[1:]):
        cut = shot.cut
        if cut is None:
            continue
        x = axes.x(shot.first)
        if cut.is_hard:
            signs.append(f"M{_n(x)} {_SIGNS}l6 11h-12z")
        middle = (before.depth.main.parallax_pct + shot.depth.main.parallax_pct) / 2.0
        if not (math.isfinite(middle) and math.isfinite(cut.jump_pct)):
            continue
        low, high = axes.pct
        ends = (min(max(middle + half * cut.jump_pct, low), high) for half in (-0.5, 0.5))
        start, end = map(axes.y, ends)
        if abs(end - start) >= _LEAST_JUMP_PX:
            (hard if cut.is_hard else plain).append(f"M{_n(x)} {_n(start)}V{_n(end)}")
    return [("jump", "".join(plain)), ("jump hard", "".join(hard)), ("sign", "".join(signs))]


def _runs(axes: _Axes, runs: Sequence[tuple[int, int]]) -> str:
    """A bracket beneath each run of quick cuts."""
    return "".join(
        f"M{_n(axes.x(axes.shots[first].first))} {_RUNS}v8H{_n(axes.x(axes.shots[last].last + 1))}v-8"
        for first, last in runs
    )


def _volumes(axes: _Axes) -> list[tuple[str, str]]:
    """Bars of the depth volume as seen; open above where far has no distance."""
    bars, ends = [], []
    for shot in axes.shots:
        left, width = axes.span(shot)
        if shot.depth.volume_mm is not None:
            top = axes.volume_y(shot.depth.volume_mm)
            bars.append(_bar(left, top, width, _VOLUME_BOTTOM - top))
        elif _is_endless(shot):
            ends.append(f"M{_n(left)} {_VOLUME_TOP - 6}V{_VOLUME_BOTTOM}h{_n(width)}V{_VOLUME_TOP - 6}")
    return [("bar", "".join(bars)), ("open", "".join(ends))]


def _is_endless(shot: ShotStory) -> bool:
    """Whether far was measured, and has no distance."""
    return shot.depth.far.distance_mm is None and math.isfinite(shot.depth.far.parallax_pct)


def _frame(axes: _Axes) -> str:
    plots = ((_TOP, _HEIGHT), (_VOLUME_TOP, _VOLUME_HEIGHT))
    return "".join(
        f'<rect class="plot" x="{_LEFT}" y="{top}" width="{axes.plot}" height="{height}"/>' for top, height in plots
    )


def _scales(axes: _Axes) -> list[str]:
    """Lines across."""
    right = _LEFT + axes.plot
    lines = "".join(f"M{_LEFT} {_n(axes.y(tick))}H{right}" for tick in axes.ticks if tick)
    lines += "".join(f"M{_LEFT} {_n(axes.volume_y(m * 1000.0))}H{right}" for m in axes.metres[1:-1])
    return [f'<path class="grid" d="{lines}"/><path class="zero" d="M{_LEFT} {_n(axes.y(0.0))}H{right}"/>']


def _figures(axes: _Axes) -> list[str]:
    """Figures of the lines across; of a wide drawing again and again, so that one is always in sight."""
    parts = []
    for again in range(0, axes.plot - _AGAIN_PX // 2, _AGAIN_PX):
        x, kind = _LEFT + again - 7, "end" if again == 0 else "end again"
        parts += [_text(x, axes.y(tick) + 5, _pct_label(tick), kind) for tick in axes.ticks]
        parts += [_text(x, axes.volume_y(m * 1000.0) + 5, f"{m:g} m", kind) for m in axes.metres]
        parts.append(_text(_LEFT + again, _VOLUME_TOP - 12, "depth volume as seen (each line ten times the last)", ""))
    return parts


def _pct_label(pct: float) -> str:
    pct = round(pct, 6) + 0.0
    return f"{pct:+g} %".replace("-", "\N{MINUS SIGN}") if pct else "screen"


def _nice_step(span: float, most: int = 7) -> float:
    """The least of 1, 2 or 5 times a power of ten that cuts a span into at most ``most`` parts."""
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power * most >= span * (1.0 - 1e-9))


def _limit_lines(axes: _Axes) -> list[str]:
    low, high = axes.pct
    right = _LEFT + axes.plot
    limits = (axes.version.limits.near_pct, axes.version.limits.far_pct)
    lines = "".join(f"M{_LEFT} {_n(axes.y(pct))}H{right}" for pct in limits if low <= pct <= high)
    return [f'<path class="limit" d="{lines}"/>'] if lines else []


def _times(axes: _Axes) -> list[str]:
    """Timecodes (frames, where there are none) at both ends and between."""
    codes = axes.version.frames.timecodes
    pieces = min(max(1, axes.plot // _TIME_PX), max(1, axes.frames - 1))
    parts, marks = [], ""
    for piece in range(pieces + 1):
        frame = (axes.frames - 1) * piece // pieces
        # The last one stands at the end of its frame, where the drawing ends.
        x = axes.x(axes.frames if piece == pieces else frame)
        marks += f"M{_n(x)} {_VOLUME_BOTTOM}v5"
        kind = "end" if piece == pieces and pieces else "mid" if piece else ""
        parts.append(_text(x, _VOLUME_BOTTOM + 20, codes[frame] or f"frame {frame}", kind))
    return [f'<path class="tickmark" d="{marks}"/>', *parts]


def _text(x: float, y: float, text: str, kind: str) -> str:
    return f'<text{f" class={chr(34)}{kind}{chr(34)}" if kind else ""} x="{_n(x)}" y="{_n(y)}">{escaped(text)}</text>'


def _in_words(story: Story) -> str:
    """What a drawing shows, in words."""
    shots = story.shots
    sentences = [f"{count_text(len(shots), 'shot')}"]
    for word, values in (
        ("near to far", [e.parallax_pct for s in shots for e in (s.depth.near, s.depth.far)]),
        ("main mass", [s.depth.main.parallax_pct for s in shots]),
    ):
        known = [pct for pct in values if math.isfinite(pct)]
        sentences[0] += f"; {word} from {pct_text(min(known))} to {pct_text(max(known))}" if known else ""
    hard = [s.name for s in shots if s.cut is not None and s.cut.is_hard]
    sentences.append(f"{count_text(len(hard), 'hard jump')} at cuts{_named(hard, 'into')}")
    runs = [f"{shots[first].name} to {shots[last].name}" for first, last in story.quick_runs]
    sentences.append(f"{count_text(len(runs), 'run')} of quick cuts{_named(runs, '')}")
    volumes = [s.depth.volume_mm for s in shots if s.depth.volume_mm is not None]
    if volumes:
        sentences.append(
            f"Depth volume as seen from {length_text(min(volumes))} to {length_text(max(volumes))} where far has a "
            "distance"
        )
    endless = [s.name for s in shots if _is_endless(s)]
    if endless:
        sentences.append(f"In {count_text(len(endless), 'shot')} {_FAR_WORDS}{_named(endless, '')}")
    unknown = [s.name for s in shots if not math.isfinite(s.depth.volume_pct)]
    if unknown:
        sentences.append(f"{count_text(len(unknown), 'shot')} not measured{_named(unknown, '')}")
    return f"{'. '.join(sentences)}."


def _named(names: Sequence[str], lead: str) -> str:
    if not names:
        return ""
    more = len(names) - MOST_NAMED
    text = ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    return f" ({f'{lead} {text}' if lead else text})"


def _legend(clip: ReviewedClip) -> str:
    entries = (
        (
            '<path class="bar" d="M12 1h20v12h-20z"/><path class="main" d="M12 8h20"/>',
            "near to far, tick at the main mass",
        ),
        ('<path class="jump" d="M22 1V13"/>', "jump of the main mass at a cut, as long as it is large"),
        ('<path class="jump hard" d="M12 1V13"/><path class="sign" d="M28 1l6 11h-12z"/>', "a hard jump, with ▲ above"),
        ('<path class="run" d="M4 2v8H40v-8"/>', "bracket beneath: a run of quick cuts"),
        ('<path class="limit" d="M0 7H44"/>', "limits of the screen, where they are not far off"),
        ('<path class="unknown" d="M4 7H40"/>', "not measured"),
        ('<path class="open" d="M12 0V13h20V0"/>', f"open above: {_FAR_WORDS}"),
    )
    items = "".join(
        f'<li><svg class="rhythm-drawing" viewBox="0 0 44 14" aria-hidden="true">{drawn}</svg>{escaped(words)}</li>'
        for drawn, words in entries
    )
    return f'<ul class="rhythm-legend">{items}</ul>'

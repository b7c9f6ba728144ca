"""The pictures of one or several plans, drawn in one pass over the source and handed to the writers."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from postfix.deliver.delivery import Delivery, PairWriter, copy_as_they_are, delivery_folders, writers
from postfix.job.progress import bar
from postfix.plan.geometry import changes_nothing
from postfix.plan.model import Plan, ShotPlan
from postfix.render.moves import render_pair
from postfix.source.framed import bars_of
from postfix.source.pair import PairSource
from postfix.source.picture import Planes

log = logging.getLogger("postfix")


@dataclass(frozen=True)
class _Rendering:
    """A version while its pictures are made: the plan of every frame, and where they go."""

    plan: Plan
    shot_of: tuple[ShotPlan, ...]
    writers: tuple[PairWriter, ...]


_RENDER_THREADS = 2
"""Frames drawn at the same time: the cores of a small machine; the encoders need the rest of a large one."""


def render_plans(
    wanted: Sequence[tuple[Plan, Path]], pair: PairSource, delivery: Delivery, *, quiet: bool = False
) -> None:
    """Write the pictures of every plan into its folder, in one pass over the source.

    Parameters
    ----------
    wanted : sequence of (Plan, Path)
        Each plan, and a folder that is there and is itself unfinished.
    pair : PairSource
    delivery : Delivery
    quiet : bool
        True for no progress bar.

    Raises
    ------
    InputError
        Where the source fails on the way, or cannot be encoded.
    OutputError
        Where something cannot be written.
    """
    drawn = []
    for plan, work in wanted:
        for name in delivery_folders(pair, delivery):
            (work / name).mkdir()
        untouched = all(changes_nothing(shot, plan.clip) for shot in plan.shots)
        if untouched and copy_as_they_are(pair, delivery, work):
            log.debug("%s: nothing to change; the source files are copied byte for byte", plan.screen.name)
        else:
            drawn.append((plan, work))
    if not drawn:
        return
    names = ", ".join(plan.screen.name for plan, _ in drawn)
    with ExitStack() as stack:
        progress = stack.enter_context(bar(f"render {names}", pair.count, quiet=quiet))
        # The threads end before the writers do, for they hand pictures to them.
        renderings = [
            _Rendering(
                plan,
                tuple(shot for shot in plan.shots for _ in range(shot.first, shot.last + 1)),
                stack.enter_context(writers(pair, delivery, work)),
            )
            for plan, work in drawn
        ]
        pool = stack.enter_context(ThreadPoolExecutor(_RENDER_THREADS, thread_name_prefix="render"))
        _draw(renderings, pair, pool, progress)


_Drawn = tuple[Planes, Planes, bool]


def _draw(
    renderings: Sequence[_Rendering], pair: PairSource, pool: ThreadPoolExecutor, progress: Callable[[int], object]
) -> None:
    """Decode each frame once, draw it for every version and hand it to the writers in order.

    Drawing runs ahead of the handing over by as many frames as there are threads.
    """
    whole, bars = pair.whole or pair, bars_of(pair)
    under_way: deque[tuple[int, list[Future[_Drawn]]]] = deque()

    def hand_over() -> None:
        index, futures = under_way.popleft()
        for rendering, future in zip(renderings, futures):
            left, right, unchanged = future.result()
            for writer in rendering.writers:
                writer.write(index, left, right, (unchanged, unchanged))
        progress(1)

    try:
        for index, left, right in whole.frames():
            futures = [
                pool.submit(
                    render_pair,
                    left,
                    right,
                    whole.format,
                    rendering.plan.clip,
                    rendering.shot_of[index],
                    index,
                    spare_px=pair.spare_px,
                    bars=bars,
                )
                for rendering in renderings
            ]
            under_way.append((index, futures))
            if len(under_way) >= _RENDER_THREADS:
                hand_over()
        while under_way:
            hand_over()
    finally:
        for _, futures in under_way:
            for future in futures:
                future.cancel()

"""Time of rendering against plainly copying the same pictures, as tables; memory at a large size.

.venv/bin/python tests/bench/render_speed.py [--frames N] [--repeats N] [--only KIND] [--memory-frames N]

Every row is measured in turn with the others, in processes of their own: one that only decodes both eyes and encodes
them again with the same settings ("plain"), the program's ``render`` without its check, and, for video and TIFF, a
general-purpose filter graph (crop, scale, pad and drawn boxes, through PyAV) for the same job.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import OpenImageIO as oiio

sys.path.insert(0, str(Path(__file__).parents[1]))
from run_time import timed

from postfix.deliver.codecs import VideoSpec, encoder_for, spec_of
from postfix.deliver.delivery import Delivery
from postfix.deliver.video import write_video
from postfix.job.rendering import render_plans
from postfix.limits import limits_for
from postfix.measure.clip import clip_info
from postfix.plan.file import plan_text
from postfix.plan.geometry import covering_zoom
from postfix.plan.model import HitKey, Plan, ShotPlan, WindowKey
from postfix.source.opening import open_eye
from postfix.source.pair import open_pair
from postfix.viewing import BUILTIN_SCREENS

RATE = Fraction(24)
DISTINCT = 6
"""Different pictures in a clip; they come round again."""


@dataclass(frozen=True)
class Kind:
    """Material of one format."""

    name: str
    suffix: str
    compression: str = ""
    half: bool = False


KINDS = {
    kind.name: kind
    for kind in (
        Kind("ProRes HQ", ".mov"),
        Kind("TIFF 16 bit, zip", ".tif", "zip"),
        Kind("TIFF 16 bit, not compressed", ".tif", "none"),
        Kind("EXR half, zip", ".exr", "zip", half=True),
    )
}
JOBS = ("whole", "fraction")
EYES = ("left", "right")


def picture(index: int, width: int, height: int) -> np.ndarray:
    """(height, width, 3) float32, 0 to 1: smooth shapes, hard edges and grain that differs from frame to frame."""
    rng = np.random.default_rng(index)
    x, y = np.meshgrid(np.linspace(0, 1, width, dtype=np.float32), np.linspace(0, 1, height, dtype=np.float32))
    shapes = rng.random((18, 32, 3), dtype=np.float32)
    base = cv2.resize(shapes, (width, height), interpolation=cv2.INTER_CUBIC)
    base += 0.2 * ((np.floor(40 * x) + np.floor(24 * y)) % 2)[..., None]
    base += 0.012 * rng.standard_normal((height, width, 1), dtype=np.float32)
    return np.clip(0.1 + 0.7 * base, 0, 1)


def planes_422(rgb: np.ndarray) -> tuple[np.ndarray, ...]:
    """Limited-range 10-bit planes; that they look like the picture is all that matters here."""
    luma = rgb @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    chroma = [(rgb[..., i] - luma)[:, ::2] / 2 for i in (2, 0)]
    planes = (64 + 876 * luma, *(512 + 896 * c for c in chroma))
    return tuple(np.clip(np.rint(p), 4, 1019).astype(np.uint16) for p in planes)


def write_picture(path: Path, rgb: np.ndarray, kind: Kind) -> None:
    samples = rgb.astype(np.float16) if kind.half else np.rint(rgb * 65535).astype(np.uint16)
    spec = oiio.ImageSpec(rgb.shape[1], rgb.shape[0], 3, "half" if kind.half else "uint16")
    spec.attribute("compression", kind.compression)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec), oiio.geterror()
    assert out.write_image(np.ascontiguousarray(samples))
    out.close()


SHIFT_PX = 48
"""How far right of the left eye's the right eye's picture lies: further than large screens allow, so that all move."""


def make_pair(folder: Path, kind: Kind, frames: int, width: int, height: int) -> tuple[Path, Path]:
    """Both eyes, flat; stills that come round again are links to the first."""
    paths = []
    for number, eye in enumerate(EYES):
        shown = [np.roll(picture(i, width, height), number * SHIFT_PX, axis=1) for i in range(min(DISTINCT, frames))]
        if kind.suffix == ".mov":
            path = folder / f"reel_{eye}.mov"
            spec = VideoSpec(
                "prores", "yuv422p10le", width, height, RATE, profile="HQ", color_range=1,
                color_primaries=1, color_transfer=1, color_matrix=1,
            )  # fmt: skip
            ready = [planes_422(rgb) for rgb in shown]
            write_video(path, spec, (ready[i % len(ready)] for i in range(frames)))
        else:
            path = folder / eye
            path.mkdir(parents=True)
            for i in range(frames):
                file = path / f"reel.{i:05d}{kind.suffix}"
                if i < len(shown):
                    write_picture(file, shown[i], kind)
                else:
                    os.link(path / f"reel.{i % len(shown):05d}{kind.suffix}", file)
        paths.append(path)
    return paths[0], paths[1]


def plan_for(left: Path, right: Path, job: str, moved: float = 0.0) -> Plan:
    """A held HIT with windows, in whole pixels or with zoom and to a fraction."""
    pair = open_pair(left, right, rate=RATE if left.is_dir() else None)
    clip = clip_info(pair)
    hit = 0.43 + moved
    window = (WindowKey(0, (24.0, 40.0), (30.0, 30.0)),)
    shot = ShotPlan("s001", 0, pair.count - 1, hit=(HitKey(0, hit),), window=window, reason="for timing")
    if job == "fraction":
        shot = replace(shot, fill="zoom", zoom=covering_zoom(hit))
    screen = BUILTIN_SCREENS["cinema-12m"]
    return Plan(screen, limits_for(screen), clip, (shot,))


def plain_video(source: Path, target: Path, graph: str = "") -> None:
    """Decode and encode one eye with the encoder settings of the program, through a filter graph if there is one."""
    spec = spec_of(open_eye(source))
    encoder, options = encoder_for(spec, source)
    with av.open(str(source)) as given, av.open(str(target), "w") as made:
        stream = given.streams.video[0]
        stream.thread_type = "AUTO"
        out = made.add_stream(encoder.name, rate=spec.rate, options=options)
        out.width, out.height, out.pix_fmt = spec.width, spec.height, spec.pixel_format
        out.codec_context.thread_count = encoder.threads
        filters = filter_graph(graph, stream) if graph else None
        for frame in given.decode(stream):
            for done in filtered(filters, frame):
                made.mux(out.encode(done))
        made.mux(out.encode(None))


def filter_graph(text: str, stream) -> av.filter.Graph:
    graph = av.filter.Graph()
    nodes = [graph.add_buffer(template=stream)]
    for part in text.split(","):
        name, _, arguments = part.partition("=")
        nodes.append(graph.add(name, arguments))
    nodes.append(graph.add("buffersink"))
    graph.link_nodes(*nodes)
    graph.configure()
    return graph


def filtered(graph, frame):
    if graph is None:
        return [frame]
    graph.push(frame)
    return [graph.pull()]


def graph_for(job: str, eye: str, width: int, height: int) -> str:
    """Crop, scale, pad and drawn boxes that do nearly what the plan does; a slanted window is drawn upright."""
    box = f"drawbox=x={0 if eye == 'left' else width - 30}:y=0:w=30:h={height}:color=black:t=fill"
    if job == "whole":
        at = 0 if eye == "right" else 4
        return f"crop={width - 4}:{height}:{at}:0,pad={width}:{height}:{0 if at else 4}:0,{box}"
    wide, high = round(width * 1.0043), round(height * 1.0043)
    return f"scale={wide}:{high}:flags=lanczos,crop={width}:{height},{box}"


def plain_stills(source: Path, target: Path) -> None:
    """Read and write the stills of one eye, two at a time."""
    target.mkdir()

    def one(path: Path) -> None:
        given = oiio.ImageInput.open(str(path))
        samples, spec = given.read_image(given.spec().format), given.spec()
        given.close()
        made = oiio.ImageOutput.create(str(target / path.name))
        assert made.open(str(target / path.name), spec)
        assert made.write_image(samples)
        made.close()

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, sorted(source.iterdir())))


def graph_stills(source: Path, target: Path, graph: str, compression: str) -> None:
    """The stills of one eye through FFmpeg's own reader and writer and a filter graph."""
    target.mkdir()
    suffix = next(source.iterdir()).suffix
    pattern = f"reel.%05d{suffix}"
    options = {"start_number": "0", "framerate": "24"}
    algorithm = {"none": "raw", "zip": "deflate"}[compression]
    with av.open(str(source / pattern), options=options) as given, av.open(str(target / pattern), "w") as made:
        stream = given.streams.video[0]
        out = made.add_stream("tiff", rate=24, options={"compression_algo": algorithm})
        out.width, out.height, out.pix_fmt = stream.width, stream.height, stream.pix_fmt
        filters = filter_graph(graph, stream)
        for frame in given.decode(stream):
            for done in filtered(filters, frame):
                made.mux(out.encode(done))
        made.mux(out.encode(None))


def child(what: str, job: str, compression: str, left: str, right: str, out: str) -> None:
    """One measurement in a process of its own, both eyes at once; prints its seconds without the process's start."""
    Path(out).mkdir()
    started = time.perf_counter()
    if what.startswith("pictures"):
        draw_alone(job, int(what.removeprefix("pictures")), Path(left), Path(right), Path(out))
    else:
        both_eyes(what, job, compression, left, right, out)
    print(time.perf_counter() - started)


def draw_alone(job: str, screens: int, left: Path, right: Path, out: Path) -> None:
    """The program's drawing and writing for some plans from one decoding: no checksums, no reopening, no log."""
    pair = open_pair(left, right, rate=RATE if left.is_dir() else None)
    wanted = []
    for index in range(screens):
        (out / str(index)).mkdir()
        wanted.append((plan_for(left, right, job, moved=0.21 * index), out / str(index)))
    render_plans(wanted, pair, Delivery(), quiet=True)


def both_eyes(what: str, job: str, compression: str, left: str, right: str, out: str) -> None:
    threads = []
    for eye, source in zip(EYES, (Path(left), Path(right))):
        target = Path(out) / (eye if source.is_dir() else source.name)
        size = open_eye(source, rate=RATE if source.is_dir() else None).format
        graph = graph_for(job, eye, size.width, size.height) if what == "graph" else ""
        if not source.is_dir():
            work, arguments = plain_video, (source, target, graph)
        elif graph:
            work, arguments = graph_stills, (source, target, graph, compression)
        else:
            work, arguments = plain_stills, (source, target)
        threads.append(threading.Thread(target=work, args=arguments))
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def timed_child(what: str, job: str, kind: Kind, left: Path, right: Path, out: Path) -> tuple[float, float]:
    """Wall seconds of the process, and of its work alone."""
    shutil.rmtree(out, ignore_errors=True)
    started = time.perf_counter()
    words = [sys.executable, __file__, "--child", what, job, kind.compression or "-", left, right, out]
    said = subprocess.run(list(map(str, words)), check=True, stdout=subprocess.PIPE, text=True).stdout
    return time.perf_counter() - started, float(said)


def timed_render(left: Path, right: Path, plan: Path, out: Path) -> tuple[float, float]:
    """Wall seconds and largest MiB of ``render`` without its check."""
    shutil.rmtree(out, ignore_errors=True)
    rate = ["--rate", "24"] if left.is_dir() else []
    typed = ["render", "--left", left, "--right", right, *rate, "--plan", plan, "--no-check", "-q", "-o", out]
    wall, _, memory, code = timed(typed)
    assert code in (0, 5), code
    return wall, memory


def middle(values: list[float]) -> float:
    return float(np.median(values))


HEADING = (
    "format",
    "job",
    "plain",
    "pictures",
    "/ plain",
    "plain, process",
    "command",
    "/ plain",
    "filter graph, process",
    "command / graph",
)


def speed_table(place: Path, kinds: list[Kind], frames: int, repeats: int) -> None:
    print(
        f"\n1920x1080, {frames} frames a clip, median of {repeats} rounds in turn, seconds. pictures: drawing and "
        "writing alone; command: `render --no-check` as a process, with its start, checksums and log\n"
    )
    print(f"| {' | '.join(HEADING)} |\n|" + "---|" * len(HEADING))
    for kind in kinds:
        folder = place / kind.name.replace(" ", "-").replace(",", "")
        folder.mkdir()
        left, right = make_pair(folder, kind, frames, 1920, 1080)
        out, has_graph = folder / "out", not kind.half
        times: dict[str, list[float]] = {}

        def note(name: str, *values: float, times: dict[str, list[float]] = times) -> None:
            for number, value in enumerate(values):
                times.setdefault(f"{name} {number}", []).append(value)

        for job in JOBS:
            (folder / f"{job}.toml").write_text(plan_text(plan_for(left, right, job)))
        for _ in range(repeats):
            note("plain", *timed_child("plain", "whole", kind, left, right, out))
            for job in JOBS:
                note(f"pictures {job}", *timed_child("pictures1", job, kind, left, right, out))
                note(f"command {job}", timed_render(left, right, folder / f"{job}.toml", out)[0])
                if has_graph:
                    note(f"graph {job}", *timed_child("graph", job, kind, left, right, out))
            note("three", *timed_child("pictures3", "whole", kind, left, right, out))
        found = {name: middle(values) for name, values in times.items()}
        plain, process = found["plain 1"], found["plain 0"]
        for job in JOBS:
            pictures, command = found[f"pictures {job} 1"], found[f"command {job} 0"]
            graph = found.get(f"graph {job} 0")
            against = "– | –" if graph is None else f"{graph:.1f} | {command / graph:.2f}"
            print(
                f"| {kind.name} | {job} | {plain:.1f} | {pictures:.1f} | {pictures / plain:.2f} | {process:.1f} "
                f"| {command:.1f} | {command / process:.2f} | {against} |",
                flush=True,
            )
        one, three = found["pictures whole 1"], found["three 1"]
        print(f"\n{kind.name}: pictures of three screens {three:.1f} s, of one {one:.1f} s: {three / one:.2f}")
        three_screens(folder, kind, left, right, max(1, repeats - 1))
        shutil.rmtree(folder)


def three_screens(folder: Path, kind: Kind, left: Path, right: Path, repeats: int) -> None:
    """``run`` for one screen and for three, with and without its check; all of them must be moved."""
    screens = ["cinema-20m", "cinema-12m", "cinema-6m"]
    rate = ["--rate", "24"] if left.is_dir() else []
    for check in ([], ["--no-check"]):
        walls = {}
        for count in (1, 3):
            rounds = []
            for _ in range(repeats):
                shutil.rmtree(folder / "out", ignore_errors=True)
                typed = [
                    "run",
                    "--left",
                    left,
                    "--right",
                    right,
                    *rate,
                    "--one-shot",
                    "-q",
                    *check,
                    "-o",
                    folder / "out",
                ]
                typed += [word for name in screens[:count] for word in ("--screen", name)]
                wall, _, _, code = timed(typed)
                assert code in (0, 5), code
                rounds.append(wall)
            walls[count] = middle(rounds)
        words = " ".join(["run", *check])
        print(
            f"{kind.name}: `{words}` for three screens {walls[3]:.1f} s, for one {walls[1]:.1f} s: "
            f"{walls[3] / walls[1]:.2f}",
            flush=True,
        )


def memory_table(place: Path, lengths: list[int]) -> None:
    print("\n3840x2160, 16-bit RGB TIFF, render with fractional HIT and zoom\n")
    print("| frames | seconds | largest memory, MiB |\n|---|---|---|")
    kind = KINDS["TIFF 16 bit, zip"]
    for frames in lengths:
        folder = place / f"memory-{frames}"
        folder.mkdir()
        left, right = make_pair(folder, kind, frames, 3840, 2160)
        (folder / "plan.toml").write_text(plan_text(plan_for(left, right, "fraction")))
        wall, memory = timed_render(left, right, folder / "plan.toml", folder / "out")
        print(f"| {frames} | {wall:.0f} | {memory:.0f} |", flush=True)
        shutil.rmtree(folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=48)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--only", default="")
    parser.add_argument("--memory-frames", type=int, nargs="*", default=[24, 96])
    parser.add_argument("--child", nargs=6, default=None)
    options = parser.parse_args()
    if options.child:
        child(*options.child)
        return
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, PyAV {av.__version__}")
    with tempfile.TemporaryDirectory() as name:
        kinds = [kind for kind in KINDS.values() if options.only in kind.name]
        if options.frames:
            speed_table(Path(name), kinds, options.frames, options.repeats)
        memory_table(Path(name), options.memory_frames)


if __name__ == "__main__":
    main()

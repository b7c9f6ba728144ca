"""What a job costs a frame, stage by stage; what handing pieces out costs; two workers against one, and a lost worker.

.venv/bin/python tests/bench/cluster.py [--frames 48] [--codec NAME ...] [--pieces 1000] [--shots 40]
    [--only costs|handing|job]

costs: processor seconds of each stage at 1920x1080, both eyes, on one thread where the stage has a choice; processor
time, not the clock's, so that other work on the machine spoils little. handing: pieces that do nothing, on two workers
of this machine. job: the command ``run`` on a made-up reel with ``--cluster local:1`` and ``local:2``, and with one of
two workers killed midway; the outputs are compared byte for byte.
"""

import argparse
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import av

sys.path.insert(0, str(Path(__file__).parents[1]))
from cluster_work import Shared, counted
from footage import write_videos
from render_speed import DISTINCT, KINDS, make_pair, picture, plan_for, planes_422
from tables import heading, machine, row

from postfix.deliver.changelog import change_log, change_log_text, frame_table_lines, shot_results
from postfix.deliver.codecs import spec_of
from postfix.deliver.video import write_video
from postfix.effort import Effort, using
from postfix.job.checksums import source_files
from postfix.job.cluster import opened_crew
from postfix.measure.clip import measure_clip
from postfix.measure.columns import columns_of
from postfix.plan.clip import plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.settings import PlanSettings
from postfix.render.moves import render_pair
from postfix.source.opening import open_eye
from postfix.source.pair import open_pair
from postfix.viewing import BUILTIN_SCREENS

WIDTH, HEIGHT = 1920, 1080
CODECS = ("prores-hq", "dnxhr-hqx", "ffv1", "h264", "h265")
SHOT_FRAMES = 48


def cpu_s(job):
    """What a job gives, and the processor seconds that it took in all threads of this process."""
    before = time.process_time()
    made = job()
    return made, time.process_time() - before


def copy_packets(source, target):
    """What joining does at least: every coded frame is taken out of one file and put into another."""
    with av.open(str(source)) as given, av.open(str(target), "w") as made:
        stream = given.streams.video[0]
        out = made.add_stream_from_template(stream)
        for packet in given.demux(stream):
            if packet.dts is not None:
                packet.stream = out
                made.mux(packet)


def tell_costs(folder, frames, codecs):
    """Each stage by itself."""
    left, right = make_pair(folder, KINDS["ProRes HQ"], frames, WIDTH, HEIGHT)
    heading("stage", "processor ms a frame", "MB a frame, both eyes")

    def tell(stage, seconds, size=None):
        row(stage, f"{seconds * 1e3 / frames:.1f}", "" if size is None else f"{size / frames / 1e6:.2f}")

    with using(Effort(1)):
        pair, seconds = cpu_s(lambda: open_pair(left, right))
        tell("opening, which reads both files through", seconds, left.stat().st_size + right.stat().st_size)
        _, seconds = cpu_s(lambda: [None for _ in pair.frames()])
        tell("decoding ProRes HQ", seconds)
        sources, seconds = cpu_s(lambda: source_files(pair))
        tell("checksums of the source", seconds)
        table, seconds = cpu_s(lambda: measure_clip(pair))
        tell("measuring, with decoding", seconds)
        _, seconds = cpu_s(lambda: plan_edit(edit_of(columns_of(table)), BUILTIN_SCREENS["cinema-12m"], PlanSettings()))
        tell("planning one screen", seconds)
        eyes = [tuple(planes_422(picture(index, WIDTH, HEIGHT))) for index in range(DISTINCT)]
        plans = {job: plan_for(left, right, job) for job in ("whole", "fraction")}
        for job, plan in plans.items():

            def draw(plan=plan):
                for index in range(frames):
                    planes = eyes[index % DISTINCT]
                    render_pair(planes, planes, pair.format, plan.clip, plan.shots[0], index)

            _, seconds = cpu_s(draw)
            tell(f"drawing, {job} pixels", seconds)
        for codec in codecs:
            spec = replace(spec_of(open_eye(left), codec), timecode=None)
            suffix = {"h264": ".mp4", "h265": ".mp4", "ffv1": ".mkv"}.get(codec, ".mov")
            made = folder / f"encoded{suffix}"
            given = [eyes[index % DISTINCT] for index in range(frames)]
            _, seconds = cpu_s(lambda made=made, spec=spec, given=given: write_video(made, spec, given))
            tell(f"encoding {codec}", 2 * seconds, 2 * made.stat().st_size)
        _, seconds = cpu_s(lambda: copy_packets(left, folder / "copied.mov"))
        tell("copying coded frames into another file", 2 * seconds, 2 * left.stat().st_size)
        plan = plans["whole"]

        def write_log():
            log = change_log(
                plan, shot_results(plan, table, table), sources=sources, outputs=(), timecode=pair.timecode, tool={}
            )
            return change_log_text(log), "".join(frame_table_lines(plan, table, table, timecode=pair.timecode))

        _, seconds = cpu_s(write_log)
        tell("change log and its table of frames", seconds)


def tell_handing_out(folder, pieces):
    """Pieces that do nothing."""
    from postfix.source.segments import SEGMENT_FRAMES, segments_of

    with opened_crew("local:2") as crew:
        segments = segments_of(SEGMENT_FRAMES * pieces)
        list(crew.carry_out(counted, Shared(folder), [segments[:8]], lambda frames: None))
        started = time.perf_counter()
        _, seconds = cpu_s(lambda: list(crew.carry_out(counted, Shared(folder), [segments], lambda frames: None)))
        wall = time.perf_counter() - started
    heading("pieces", "wall, ms each", "processor ms each in the client and its scheduler")
    row(pieces, f"{1e3 * wall / pieces:.1f}", f"{1e3 * seconds / pieces:.1f}")


def digest(folder):
    """Of all files below a folder, by their names, but for the page, which tells when it was written."""
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        found.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:12]


def children(pid):
    """Worker processes that a process started, each with its own number."""
    told = subprocess.run(["ps", "-o", "pid=,args=", "--ppid", str(pid)], capture_output=True, text=True, check=True)
    lines = [line.split(None, 1) for line in told.stdout.splitlines()]
    return [int(number) for number, words in lines if "spawn_main" in words]


def timed_run(typed, kill_after_s=None):
    """Wall seconds and exit code; a worker is killed after so long, where that is asked."""
    started = time.perf_counter()
    command = [sys.executable, "-m", "postfix", *map(str, typed)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(children(process.pid)[-1], signal.SIGKILL)
    said = process.communicate()[1]
    if process.returncode not in (0, 5):
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}: {said[-800:]}")
    return time.perf_counter() - started, process.returncode


def tell_job(folder, shots):
    """One worker, two, and two of which one is killed."""
    wanted = [index % SHOT_FRAMES for index in range(shots * SHOT_FRAMES)]
    left, right = write_videos(folder, "prores.mov", wanted=wanted)
    typed = ["run", "--left", left, "--right", right, "--screen", "tv-55in", "--screen", "cinema-12m"]
    heading("how", "wall, s", "exit code", "outputs")
    took = {}
    for how, cluster, killed in (
        ("this process", None, False),
        ("--cluster local:1", "local:1", False),
        ("--cluster local:2", "local:2", False),
        ("--cluster local:2, a worker killed at half the time", "local:2", True),
    ):
        out = folder / "out"
        given = [] if cluster is None else ["--cluster", cluster]
        after_s = took["--cluster local:2"] / 2 if killed else None
        took[how], code = timed_run([*typed, *given, "-o", out], after_s)
        row(how, f"{took[how]:.1f}", code, digest(out))
        shutil.rmtree(out)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=48)
    parser.add_argument("--codec", action="append", choices=CODECS)
    parser.add_argument("--pieces", type=int, default=1000)
    parser.add_argument("--shots", type=int, default=40)
    parser.add_argument("--only", choices=("costs", "handing", "job"))
    asked = parser.parse_args()
    print(f"{machine()}.\n")
    parts = {
        "costs": lambda folder: tell_costs(folder, asked.frames, asked.codec or CODECS),
        "handing": lambda folder: tell_handing_out(folder, asked.pieces),
        "job": lambda folder: tell_job(folder, asked.shots),
    }
    for name, part in parts.items():
        if asked.only in (None, name):
            with tempfile.TemporaryDirectory() as folder:
                part(Path(folder))
            print()


if __name__ == "__main__":
    main()

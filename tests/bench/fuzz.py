"""Damaged inputs put through the command line: python tests/bench/fuzz.py [--count 2000] [--seed 1] [--together 2].

Whole inputs of every kind that is read (video, stills, both eyes in one file, plans, jobs, tables, lists, settings,
change logs) are damaged by number, and each is given to the command as a person would. What must hold for each: an exit
code of 0, 2, 3, 4 or 5; no fault of the program and no trace of one; no signal; at most 10 s of processor time and 60 s
in all; under 1 GB of memory. Failures stay in the folder for a look, each with what was typed.

The programs that are tried are children forked from one process that has imported everything and started no thread,
because 2,000 starts of the interpreter would take half an hour.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fuzzing import files_of, mutated

CPU_S, WALL_S = 10.0, 60.0
MEMORY_BYTES = 1 << 30
ADDRESS_BYTES = 8 << 30
"""A backstop: memory that is only reserved is not counted as used."""

ALLOWED = (0, 2, 3, 4, 5)

VIDEO = ("prores.mov", "ffv1.mkv", "h264.mp4", "h265.mp4", "dnxhr.mxf", "dnxhr.mov", "jpeg2000.mov", "jpeg2000.mxf")
VIDEO += ("h264.ts", "ffv1.avi", "h264-sound.mov", "ffv1-sound.mkv")
STILLS = ("dpx8", "dpx10", "dpx12", "dpx16", "exr-half", "exr-half-piz", "exr-channels", "exr-parts", "exr-dwaa")
STILLS += ("exr-b44", "exr-pxr24", "exr-rle", "exr-tiles", "tiff8", "tiff16", "tiff-float", "tiff-deflate", "png8")
STILLS += ("png16", "png16-alpha", "jpeg")
PACKED = ("packed.mkv", "packed-h264.mp4")
TEXTS = (
    "plan.toml",
    "job.toml",
    "measure.csv",
    "list.edl",
    "list.otio",
    "settings.toml",
    "screens.toml",
    "changes.json",
)
TEXTS += ("changes.csv",)
KINDS = (*VIDEO, *STILLS, *PACKED, *TEXTS)

QUICK = ("ffv1.mkv", "h264.mp4", "dpx10", "exr-half", "exr-channels", "tiff16", "png8", "jpeg", "packed.mkv")
QUICK += ("plan.toml", "measure.csv", "settings.toml", "list.edl", "changes.json")


# --- whole inputs


def make_whole(folder: Path, kind: str) -> None:
    """A small whole input of one kind in a folder of its own."""
    folder.mkdir(parents=True)
    if kind in TEXTS:
        _whole_text(folder, kind)
    elif kind in PACKED:
        _whole_packed(folder, kind)
    else:
        for eye in ("left", "right"):
            if kind in STILLS:
                _whole_stills(folder / eye, kind)
            else:
                _whole_video(folder / f"{eye}{Path(kind).suffix}", kind)


def _whole_video(path: Path, kind: str) -> None:
    from coded_files import make_coded

    codec, sounds = Path(kind).stem.removesuffix("-sound"), ()
    if "sound" in kind:
        sounds = (("pcm_s16le", "stereo"),)
    encoder, pixel_format, options = {
        "prores": ("prores_ks", "yuv422p10le", {"profile": "3"}),
        "ffv1": ("ffv1", "yuv420p", {"level": "3", "slices": "4", "slicecrc": "1"}),
        "h264": ("libx264", "yuv420p", {"crf": "12", "g": "2"}),
        "h265": ("libx265", "yuv420p10le", {"crf": "12", "x265-params": "log-level=none"}),
        "dnxhr": ("dnxhd", "yuv422p", {"profile": "dnxhr_lb"}),
        "jpeg2000": ("jpeg2000", "rgb24", {"pred": "1"}),
    }[codec]
    size = (256, 120) if codec in ("dnxhr", "h265") else (96, 60)
    make_coded(path, encoder, pixel_format, options, size=size, sounds=sounds)


def _whole_stills(folder: Path, kind: str) -> None:
    import OpenImageIO as oiio
    from picture_files import STILLS as KNOWN
    from picture_files import make_stills

    made = {"exr-tiles": "exr-half", "tiff-deflate": "tiff16"}.get(kind, kind if kind in KNOWN else "exr-half")
    make_stills(folder, made, 3, name="gull", size=(96, 60))
    if made == kind:
        return
    for path in sorted(folder.iterdir()):
        opened = oiio.ImageInput.open(str(path))
        spec, samples = oiio.ImageSpec(opened.spec()), opened.read_image(str(opened.spec().format))
        opened.close()
        spec.attribute("compression", {"exr-tiles": "zip", "tiff-deflate": "zip"}.get(kind, kind.removeprefix("exr-")))
        if kind == "exr-tiles":
            spec.tile_width = spec.tile_height = 32
        output = oiio.ImageOutput.create(str(path))
        assert output.open(str(path), spec)
        assert output.write_image(samples)
        assert output.close()


def _whole_packed(folder: Path, kind: str) -> None:
    from packed_files import eye_planes, file_pictures, write_packed_video

    coded = kind.endswith(".mp4")
    pixel_format = "yuv420p" if coded else "yuv444p10le"
    left, right = ([eye_planes(pixel_format, index, eye) for index in range(3)] for eye in (0, 1))
    pictures = file_pictures(left, right, "side-by-side")
    options = {"x264-params": "frame-packing=3", "crf": "12"} if coded else {"level": "3", "slicecrc": "1"}
    encoder, mode = ("libx264", None) if coded else ("ffv1", "left_right")
    write_packed_video(
        folder / kind, pictures, pixel_format, encoder=encoder, options=options, stereo_mode=mode
    )  # fmt: skip


def _whole_text(folder: Path, kind: str) -> None:
    from clips import source_words, write_pair

    from postfix.cli import main

    left, right = write_pair(folder / "clip", frames=3, size=(160, 90))
    words = source_words(left, right)
    table, plan = folder / "measure.csv", folder / "plan.toml"
    assert main(["measure", *words, "--one-shot", "-o", str(table), "-q"]) == 0
    assert main(["plan", str(table), "--screen", "cinema-12m", "-o", str(plan), "-q"]) in (0, 5)
    samples = Path(__file__).resolve().parents[2] / "samples"
    if kind == "job.toml":
        job = 'screens = ["cinema-12m"]\n[settings.window]\nhold_s = 1.0\n[[clip]]\nname = "gull"\nleft = "clip/'
        job += f'{left.name}"\nright = "clip/{right.name}"\nframes = "0-2"\n[[clip.shot]]\nframe = 1\nhit = 0.4\n'
        (folder / kind).write_text(job)
    elif kind in ("settings.toml", "screens.toml"):
        text = (samples / kind).read_text(encoding="utf-8").replace('"s002"', '"s001"')
        (folder / kind).write_text(text, encoding="utf-8")
    elif kind.startswith("list"):
        text = "TITLE: GULL\nFCM: NON-DROP FRAME\n\n001  KITE     V     C        00:00:00:00 00:00:00:02 00:00:00:00 "
        text += "00:00:00:02\n* FROM CLIP NAME: pier\n002  KITE     V     C        00:00:00:02 00:00:00:03 00:00:00:02 "
        edl = folder / "list.edl"
        edl.write_text(text + "00:00:00:03\n* FROM CLIP NAME: beach\n")
        if kind == "list.otio":
            import opentimelineio as otio

            timeline = otio.adapters.read_from_file(str(edl), "cmx_3600", rate=24)
            otio.adapters.write_to_file(timeline, str(folder / kind))
            edl.unlink()
    elif kind.startswith("changes"):
        done = ["render", *words, "--plan", str(plan), "-o", str(folder / "out"), "--no-check", "-q"]
        assert main(done) in (0, 5)


# --- one damaged input


@dataclass
class Case:
    """One damaged input: where it lies, what is typed, what came of it."""

    number: int
    kind: str
    how: str
    folder: Path
    typed: list[str]
    started_s: float = 0.0
    took_s: float = 0.0
    cpu_s: float = 0.0
    peak_bytes: int = 0
    code: int | None = None
    verdict: str = ""
    said: str = ""
    pid: int = field(default=0, repr=False)


def make_case(
    whole: Path, kind: str, number: int, seed: int, folder: Path, others: dict[str, list[Path]], damage: bool
) -> Case:
    """Damage one input of a kind; not ``damage`` leaves it whole."""
    rng = random.Random(f"{seed} {number}")
    shutil.copytree(whole, folder)
    if kind in TEXTS:
        path = next(path for path in files_of(folder) if path.name == kind)
        targets = [path]
    else:
        files = files_of(folder)
        # Mostly one file; now and then all alike, so that a header that lies does not stand out among the others.
        targets = files if rng.random() < 0.25 else [rng.choice(files)]
    lender = rng.choice(others["text" if kind in TEXTS else "media"])
    state = rng.randrange(1 << 30)
    how = "whole"
    for target in targets if damage else ():
        again = random.Random(state)
        damaged, how = mutated(target.read_bytes(), lender.read_bytes(), again, is_text=kind in TEXTS)
        target.write_bytes(damaged)
    return Case(number, kind, how, folder, typed_for(folder, kind, rng))


def typed_for(folder: Path, kind: str, rng: random.Random) -> list[str]:
    """What is typed for an input."""
    out, screen = str(folder / "result"), ["--screen", "cinema-12m"]
    if kind in TEXTS:
        eyes = [str(path) for path in files_of(folder / "clip")]
        source = ["--left", eyes[0], "--right", eyes[1]]
        table, plan, settings = (str(folder / name) for name in ("measure.csv", "plan.toml", "settings.toml"))
        lists = [name for name in ("list.edl", "list.otio") if (folder / name).exists()]
        return {
            "plan.toml": rng.choice(
                (
                    ["render", *source, "--plan", plan, "-o", out],
                    ["plan", table, "--update", plan],
                    ["plan", "--diff", plan, plan],
                    ["preview", *source, "--plan", plan, "-o", out + ".png"],
                )
            ),
            "job.toml": ["run", "--job", str(folder / "job.toml"), "-o", out],
            "measure.csv": rng.choice(
                (
                    ["plan", table, *screen, "-o", out + ".toml"],
                    ["render", *source, "--plan", plan, "--measurement", table, "-o", out],
                )
            ),
            "list.edl": ["measure", *source, "--edit", *(str(folder / name) for name in lists), "-o", out + ".csv"],
            "list.otio": ["measure", *source, "--edit", *(str(folder / name) for name in lists), "-o", out + ".csv"],
            "settings.toml": ["plan", table, *screen, "--settings", settings, "-o", out + ".toml"],
            "screens.toml": ["plan", table, "--screens", str(folder / kind), "--screen", "barn", "-o", out + ".toml"],
            "changes.json": ["report", str(folder / "out")],
            "changes.csv": ["report", str(folder / "out")],
        }[kind]
    if kind in PACKED:
        source = ["--pair", str(folder / kind)]
    elif kind in STILLS:
        source = ["--left", str(folder / "left"), "--right", str(folder / "right"), "--rate", "24"]
    else:
        source = ["--left", str(folder / ("left" + Path(kind).suffix))]
        source += ["--right", str(folder / ("right" + Path(kind).suffix))]
    return rng.choice(
        (
            ["measure", *source, "--one-shot", "-o", out + ".csv"],
            ["measure", *source, "-o", out + ".csv"],
            ["run", *source, *screen, "--one-shot", "--no-check", "-o", out],
            ["run", *source, *screen, "--one-shot", "--no-check", "-o", out],
            ["preview", *source, "--one-shot", "-o", out + rng.choice((".mp4", ".png"))],
        )
    )


def start(case: Case) -> None:
    """Fork a child that runs the command."""
    sys.stdout.flush()
    sys.stderr.flush()
    case.started_s = time.monotonic()
    case.pid = os.fork()
    if case.pid:
        return
    code = 70
    try:
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_BYTES, ADDRESS_BYTES))
        for number, name in ((1, "stdout"), (2, "stderr")):
            os.dup2(os.open(case.folder / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644), number)
        faulthandler.enable(2)
        from postfix.cli import main

        try:
            code = main(case.typed)
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 70
        sys.stdout.flush()
        sys.stderr.flush()
        threading._shutdown()
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        os._exit(code)


def used_cpu_s(pid: int) -> float:
    """Processor time of a running child."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def has_ended(case: Case) -> bool:
    """Look after a running child; True once its verdict is there."""
    pid, status, usage = os.wait4(case.pid, os.WNOHANG)
    case.took_s = time.monotonic() - case.started_s
    if pid == 0:
        if used_cpu_s(case.pid) <= CPU_S and case.took_s <= WALL_S:
            return False
        os.kill(case.pid, signal.SIGKILL)
        _, status, usage = os.wait4(case.pid, 0)
        case.verdict = "too long"
    case.cpu_s, case.peak_bytes = usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024
    errors = (case.folder / "stderr").read_text(errors="replace") if (case.folder / "stderr").exists() else ""
    case.said = errors.strip()[-2000:]
    if case.verdict:
        return True
    if os.WIFSIGNALED(status):
        case.verdict = signal.Signals(os.WTERMSIG(status)).name
        return True
    case.code = os.WEXITSTATUS(status)
    if case.code not in ALLOWED:
        case.verdict = "fault"
    elif "Traceback" in errors:
        case.verdict = "trace"
    elif case.peak_bytes > MEMORY_BYTES:
        case.verdict = "memory"
    return True


# --- all of them


def make_all(folder: Path, kinds: tuple[str, ...]) -> None:
    """Whole inputs of all kinds, made in another process, because encoders start threads."""
    for kind in kinds:
        make_whole(folder / kind, kind)


def warm_up() -> None:
    """Import all that the command may need, but start nothing."""
    import importlib
    import pkgutil

    import postfix

    for module in pkgutil.walk_packages(postfix.__path__, "postfix."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    from contextlib import suppress

    with suppress(ImportError):
        import opentimelineio.adapters  # noqa: F401


def run_all(
    folder: Path, kinds: tuple[str, ...], numbers: range, seed: int, together: int, *, damage: bool = True
) -> list[Case]:
    """Damage and try them all; what passes is removed."""
    others = {
        "text": [path for kind in kinds if kind in TEXTS for path in files_of(folder / "whole" / kind)],
        "media": [path for kind in kinds if kind not in TEXTS for path in files_of(folder / "whole" / kind)],
    }
    others["text"] = [path for path in others["text"] if path.suffix in (".toml", ".csv", ".json", ".edl", ".otio")]
    waiting, running, ended = list(numbers), [], []
    while waiting or running:
        while waiting and len(running) < together:
            number = waiting.pop(0)
            kind = kinds[number % len(kinds)]
            place = folder / "tried" / f"{number:05d}"
            case = make_case(folder / "whole" / kind, kind, number, seed, place, others, damage)
            start(case)
            running.append(case)
        for case in [case for case in running if has_ended(case)]:
            running.remove(case)
            ended.append(case)
            if not damage and case.code not in (0, 5):
                case.verdict = "refused"
            if case.verdict:
                told = {"kind": case.kind, "how": case.how, "typed": case.typed, "said": case.said}
                told |= {"verdict": case.verdict, "code": case.code, "cpu_s": case.cpu_s, "peak_bytes": case.peak_bytes}
                (case.folder / "told.json").write_text(json.dumps(told, indent=1))
                print(f"{case.number:5d} {case.kind:16s} {case.verdict:9s} {case.how}: {case.said[-300:]}", flush=True)
            else:
                shutil.rmtree(case.folder)
        time.sleep(0.002)
    return ended


def table_of(cases: list[Case], kinds: tuple[str, ...]) -> str:
    """Outcomes by kind, as a Markdown table."""
    outcomes = sorted({_outcome(case) for case in cases})
    lines = ["| kind | inputs | " + " | ".join(outcomes) + " | longest s | most MB |"]
    lines.append("|---" * (len(outcomes) + 4) + "|")
    for kind in (*kinds, "all"):
        those = [case for case in cases if kind in (case.kind, "all")]
        if those:
            counts = Counter(_outcome(case) for case in those)
            cells = [str(counts[outcome] or "") for outcome in outcomes]
            ends = [f"{max(case.cpu_s for case in those):.1f}", f"{max(case.peak_bytes for case in those) / 1e6:.0f}"]
            lines.append("| " + " | ".join([kind, str(len(those)), *cells, *ends]) + " |")
    return "\n".join(lines)


def _outcome(case: Case) -> str:
    return case.verdict or f"exit {case.code}"


def main() -> int:
    """Run the bench; 1 where an input brought a fault to light."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--together", type=int, default=2, help="inputs tried at the same time")
    parser.add_argument("--kinds", nargs="+", default=None, help="only these kinds, or 'quick'")
    parser.add_argument("--folder", type=Path, default=None, help="where failures are kept (default: a new one)")
    parser.add_argument("--json", type=Path, default=None, help="write the outcomes here too")
    options = parser.parse_args()
    kinds = KINDS if options.kinds is None else QUICK if options.kinds == ["quick"] else tuple(options.kinds)
    folder = options.folder or Path(tempfile.mkdtemp(prefix="fuzz-"))
    shutil.rmtree(folder / "tried", ignore_errors=True)
    (folder / "tried").mkdir(parents=True)
    missing = tuple(kind for kind in kinds if not (folder / "whole" / kind).exists())
    maker = multiprocessing.get_context("spawn").Process(target=make_all, args=(folder / "whole", missing))
    maker.start()
    warm_up()
    maker.join()
    if maker.exitcode:
        return 2
    assert threading.active_count() == 1
    began_s = time.monotonic()
    whole = run_all(folder, kinds, range(2 * len(kinds)), options.seed, options.together, damage=False)
    if any(case.verdict for case in whole):
        print("whole inputs are not taken: nothing can be said of damaged ones")
        return 2
    numbers = range(options.first, options.first + options.count)
    cases = run_all(folder, kinds, numbers, options.seed, options.together)
    # One that took long beside others has another chance alone.
    for index, case in enumerate(cases):
        if case.verdict == "too long":
            shutil.rmtree(case.folder)
            cases[index] = run_all(folder, kinds, range(case.number, case.number + 1), options.seed, 1)[0]
    print(table_of(cases, kinds))
    failures = [case for case in cases if case.verdict]
    print(f"\n{len(cases)} inputs, {len(failures)} failures, {time.monotonic() - began_s:.0f} s")
    for case in failures:
        print(f"  {case.folder}: {case.verdict}, {case.how}")
    if options.json:
        rows = [(c.number, c.kind, c.how, c.code, c.verdict, round(c.cpu_s, 2), c.peak_bytes, c.said) for c in cases]
        options.json.write_text(json.dumps(rows))
    if not failures and options.folder is None:
        shutil.rmtree(folder)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())

"""Work on a cluster: every piece done once, whatever becomes of a worker; progress and errors as at home."""

import gc
import json
import logging
import os
import pickle
import shutil
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import distributed
import pytest
from cluster_work import Shared, counted, talkative, until_called_back
from footage import write_videos

import postfix
from postfix.cli import main
from postfix.effort import Effort
from postfix.errors import InputError, OutputError, UsageError
from postfix.job import cluster_crew, cluster_worker, many, progress
from postfix.job.cluster import opened_crew
from postfix.job.cluster_pieces import parted
from postfix.job.cluster_worker import Terms, stamp
from postfix.job.crew import Alone
from postfix.source.segments import segments_of


@pytest.fixture(scope="module")
def crew():
    with opened_crew("local:2", Effort(3)) as opened:
        yield opened


def test_without_a_cluster_this_process_does_the_work():
    with opened_crew(None) as crew:
        assert isinstance(crew, Alone)


@pytest.mark.parametrize(
    "text",
    [
        *("", "local", "local:", "local:0", "local:257", "local:-1", "local:²", "host", "host:8786", "tcp://host"),
        *("http://host:8786", "tcp://host:0", "tcp://host:65536", "tcp://:8786", "tcp://a b:1", "tcp://host:1/x"),
    ],
)
def test_what_is_no_cluster_is_refused_before_anything_is_started(text):
    with pytest.raises(UsageError, match="--cluster"), opened_crew(text):
        pytest.fail("opened")


def test_without_dask_it_is_said_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "postfix.job.cluster_crew", None)
    with pytest.raises(UsageError, match=r"pip install 'postfix-stereo\[cluster\]'"), opened_crew("local:1"):
        pytest.fail("opened")


@pytest.fixture
def no_client_left():
    """Clients that met nobody are cleared away before others come.

    They refer to themselves. If Python happened to find them in the thread of a new client's loop, that would wait
    for the lock of the one that waits for it.
    """
    yield
    gc.collect()


@pytest.mark.usefixtures("no_client_left")
def test_a_scheduler_that_does_not_answer_is_named(monkeypatch):
    monkeypatch.setattr(cluster_crew, "SCHEDULER_S", 0.5)
    found = r"--cluster tcp://127\.0\.0\.1:9: found no scheduler"
    with pytest.raises(UsageError, match=found), opened_crew("tcp://127.0.0.1:9"):
        pytest.fail("opened")


@pytest.mark.parametrize("kind", [InputError, OutputError, UsageError])
@pytest.mark.parametrize("frame", [None, 7])
def test_an_error_from_another_process_is_the_same_error(kind, frame):
    error = kind("a.mov", "b", "c", "d", frame=frame)
    error.where = "where it has its name"
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind
    assert (str(again), vars(again)) == (str(error), vars(error))


def test_runs_are_parted_into_single_segments_or_a_few_where_that_leaves_no_worker_idle():
    run = segments_of(48 * 20)
    assert [len(piece) for piece in parted([run], 1, 2)] == [1] * 20
    assert [len(piece) for piece in parted([run], 4, 2)] == [4] * 5
    assert [len(piece) for piece in parted([run], 4, 5)] == [2] * 10
    assert [len(piece) for piece in parted([run], 4, 50)] == [1] * 20
    assert [len(piece) for piece in parted([run[:3], run[5:11]], 4, 1)] == [3, 4, 2]


def test_every_segment_is_done_once_and_every_frame_told(crew, tmp_path):
    segments, told = segments_of(48 * 6 + 5), []
    results = list(crew.carry_out(counted, Shared(tmp_path, 0.003), [segments[:3], segments[4:]], told.append))
    assert sorted(result[0] for result in results) == [(0,), (1,), (2,), (4,), (5,), (6,)]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["0", "1", "2", "4", "5", "6"]
    assert sum(told) == 48 * 5 + 5
    assert len({result[1] for result in results} - {os.getpid()}) == 2
    assert {result[2] for result in results} == {3}


def test_progress_comes_while_a_piece_is_at_work(crew, tmp_path):
    told = []
    segments = segments_of(48)
    begun_s = time.monotonic()
    list(crew.carry_out(counted, Shared(tmp_path, pause_s=0.03), [segments], told.append))
    took_s = time.monotonic() - begun_s
    assert sum(told) == 48
    # Five times a second, and at the end.
    assert 3 <= len(told) <= 5 * took_s + 2


def test_several_threads_share_the_workers(crew, tmp_path):
    def carry_out(name):
        (tmp_path / name).mkdir()
        shared = Shared(tmp_path / name, 0.001, ballast=os.urandom(300_000))
        results[name] = list(crew.carry_out(counted, shared, [segments_of(48 * 4)], lambda frames: None))

    results = {}
    threads = [threading.Thread(target=carry_out, args=(f"clip{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [sorted(r[0] for r in results[f"clip{n}"]) for n in range(4)] == [[(0,), (1,), (2,), (3,)]] * 4


def test_an_error_of_the_work_arrives_as_it_was_and_ends_it(crew, tmp_path):
    segments, told = segments_of(48 * 40), []
    with pytest.raises(InputError) as caught:
        list(crew.carry_out(counted, Shared(tmp_path, fails_at=3, pause_s=0.0005), [segments], told.append))
    assert str(caught.value) == "reel.mov, frame 144: found noise, expected a picture; export it again."
    made = sorted(path.name for path in tmp_path.iterdir())
    assert len(made) < 12
    time.sleep(0.2)
    assert sorted(path.name for path in tmp_path.iterdir()) == made


def test_what_a_workers_log_says_is_said_once(crew, tmp_path, caplog, capfd):
    with caplog.at_level(logging.INFO, logger="postfix"):
        assert sum(crew.carry_out(talkative, Shared(tmp_path), [segments_of(480)], lambda frames: None)) == 10
    said = f"{tmp_path.name}: said by each piece"
    assert [record.getMessage() for record in caplog.records] == [said]
    out, err = capfd.readouterr()
    # Where a command ran before in this process, its log goes to stderr, once.
    assert (out, err.replace(f"{said}\n", "", 1)) == ("", "")


@pytest.fixture
def interruptible():
    """Ctrl-C interrupts, also where the tests run in the background of a shell, which has it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interruptible")
def test_pieces_that_nobody_waits_for_any_more_end_before_the_caller_goes_on(crew, tmp_path):
    results = crew.carry_out(until_called_back, Shared(tmp_path), [segments_of(480)], lambda frames: None)
    ended = threading.Event()

    def interrupt():
        while len(list(tmp_path.glob("began-*"))) < 2:
            time.sleep(0.01)
        time.sleep(0.1)
        signal.raise_signal(signal.SIGINT)
        ended.set()

    thread = threading.Thread(target=interrupt)
    thread.start()
    with pytest.raises(KeyboardInterrupt):
        next(results)
    began = {path.name[6:] for path in tmp_path.glob("began-*")}
    assert {path.name[6:] for path in tmp_path.glob("ended-*")} == began
    thread.join()
    assert ended.is_set()


def test_a_worker_killed_midway_changes_nothing_but_the_time(crew, tmp_path, capfd):
    segments, told = segments_of(48 * 8), []
    shared = Shared(tmp_path, pause_s=0.002, killed_at=2)
    results = list(crew.carry_out(counted, shared, [segments], told.append))
    assert (tmp_path / "killed").exists()
    assert sorted(result[0] for result in results) == [(n,) for n in range(8)]
    assert sum(told) == 48 * 8
    assert capfd.readouterr() == ("", "")


def test_sources_and_the_folder_of_the_output_are_seen_by_all_workers(crew, tmp_path):
    source = tmp_path / "reel.mov"
    source.write_bytes(b"frames")
    crew.meet([source], tmp_path)
    assert len(list(tmp_path.glob(".postfix-stereo.seen-*"))) == 1
    assert len(list(crew.carry_out(counted, Shared(tmp_path), [segments_of(96)], lambda frames: None))) == 2


def terms_of(path, **changes):
    stat = path.stat()
    seen = (str(path), changes.get("size", stat.st_size), stat.st_mtime + changes.get("later_s", 0.0))
    return Terms((seen,), changes.get("token"), "text")


def test_a_source_that_a_worker_sees_otherwise_is_named_with_the_worker(crew, tmp_path):
    source = tmp_path / "reel.mov"
    source.write_bytes(b"frames")
    cases = {"size": 5, "later_s": -60.0, "token": str(tmp_path / "away" / "token")}
    for what, value in cases.items():
        with pytest.raises(UsageError, match=r"worker tls://127\.0\.0\.1:\d+: found .*same folders") as caught:
            crew._prove(terms_of(source, **{what: value}))
        assert str(source if what != "token" else tmp_path / "away") in str(caught.value)
    crew._prove(terms_of(source, later_s=1.0))


def test_a_worker_with_another_version_is_refused_by_name(crew, monkeypatch):
    other = {**stamp(), "PyAV": "1.2.3"}
    monkeypatch.setattr(cluster_crew, "stamp", lambda: other)
    with pytest.raises(UsageError, match=r"worker tls://127\.0\.0\.1:\d+: found PyAV .*, expected 1\.2\.3, as where"):
        crew.require_alike()


@pytest.mark.usefixtures("no_client_left")
def test_workers_of_this_machine_speak_to_nobody_without_the_key(crew):
    with pytest.raises((OSError, TypeError, ValueError)):
        distributed.Client(crew.client.scheduler.address.replace("tls", "tcp"), timeout=0.5, set_as_default=False)
    gc.collect()
    with pytest.raises((OSError, TypeError, ValueError)):
        distributed.Client(crew.client.scheduler.address, timeout=0.5, set_as_default=False)


def test_another_processor_is_told_of_and_not_refused(crew, monkeypatch, caplog):
    monkeypatch.setattr(cluster_crew, "stamp", lambda: {**stamp(), cluster_worker.PROCESSOR: "abacus"})
    crew.require_alike()
    assert "processors differ (here abacus; worker tls://" in caplog.text


@pytest.mark.parametrize("name", ["the scheduler", "worker tcp://127.0.0.1:1"])
def test_a_program_of_another_version_is_refused_before_it_is_asked_for_anything(crew, monkeypatch, name):
    monkeypatch.setattr(crew, "_versions_of", lambda what: {name: stamp()["distributed"]})
    with pytest.raises(UsageError, match=f"{name}: found postfix .*, expected .*; install the same for the scheduler"):
        crew.require_alike()


def test_the_stamp_names_all_that_decides_the_bytes():
    parts = {
        "postfix-stereo",
        "Python",
        "numpy",
        "OpenCV",
        "PyAV",
        "FFmpeg",
        "libavcodec",
        "OpenImageIO",
        "distributed",
    }
    assert parts <= stamp().keys()
    assert all(stamp().values())


class Farm:
    """A scheduler and workers that were started by hand, as processes of their own."""

    def __init__(self, folder):
        self.folder, self.processes = folder, []
        told = folder / "scheduler.json"
        self.scheduler = self._start("dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", told)
        while not (told.exists() and told.read_text()):
            time.sleep(0.05)
        self.address = json.loads(told.read_text())["address"]

    def worker(self, *options, threads=1):
        """Start one more worker."""
        usual = ("--nthreads", threads, "--no-nanny", "--no-dashboard", "--memory-limit", 0)
        return self._start("dask_worker", self.address, *usual, *options)

    def _start(self, program, *options):
        places = [Path(postfix.__file__).parents[1], Path(__file__).parent, os.environ.get("PYTHONPATH", "")]
        typed = [sys.executable, "-m", f"distributed.cli.{program}", "--host", "127.0.0.1", *options]
        process = subprocess.Popen(
            [str(word) for word in typed],
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, places))},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.processes.append(process)
        return process

    def end(self):
        """Kill all that are still there."""
        for process in reversed(self.processes):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    farm = Farm(tmp_path_factory.mktemp("farm"))
    yield farm
    farm.end()


def test_a_scheduler_without_workers_is_waited_for_and_named(farm, monkeypatch):
    monkeypatch.setattr(cluster_crew, "WORKER_S", 0.2)
    with pytest.raises(UsageError, match=f"--cluster {farm.address}: found no worker"), opened_crew(farm.address):
        pytest.fail("opened")


def test_a_worker_that_comes_later_proves_itself_and_one_that_is_not_alike_is_set_aside(farm, tmp_path, caplog):
    other = "from postfix.job.cluster_worker import stamp\nstamp()['PyAV'] = '0.0'\ndef dask_setup(worker): pass\n"
    first = farm.worker()
    with opened_crew(farm.address) as crew:
        (tmp_path / "reel.mov").write_bytes(b"frames")
        crew.meet([tmp_path / "reel.mov"], tmp_path)
        later = [farm.worker("--preload", other), farm.worker()]
        while len(crew.client.nthreads()) < 3:
            time.sleep(0.05)
        # So many that the first worker is not done with all of them while the others load the program.
        results = list(crew.carry_out(counted, Shared(tmp_path, 0.001), [segments_of(48 * 40)], lambda frames: None))
    assert sorted(result[0] for result in results) == [(n,) for n in range(40)]
    assert {result[1] for result in results} == {first.pid, later[1].pid}
    assert caplog.text.count("set aside") == 1
    assert "found PyAV 0.0, expected" in caplog.text
    assert [path.name for path in tmp_path.glob(".*")] == []
    for process in (first, *later):
        process.kill()
        process.wait()


def test_a_worker_with_several_threads_is_told_how_to_start(farm):
    worker = farm.worker(threads=2)
    with pytest.raises(UsageError, match=r"found 2 threads, expected one.*--nthreads 1"), opened_crew(farm.address):
        pytest.fail("opened")
    worker.kill()
    worker.wait()


def test_with_all_workers_gone_the_work_waits_and_then_says_how_to_carry_on(farm, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster_crew, "NO_WORKER_S", 1.0)
    farm.worker()
    with opened_crew(farm.address) as crew:
        shared = Shared(tmp_path, killed_at=1, always=True)
        with pytest.raises(OutputError, match=r"found no worker for 1 s.*--resume: finished segments are kept\.$"):
            list(crew.carry_out(counted, shared, [segments_of(96)], lambda frames: None))


def test_with_the_scheduler_gone_it_is_said_at_once(farm, tmp_path):
    farm.worker()
    with opened_crew(farm.address) as crew:
        results = crew.carry_out(counted, Shared(tmp_path, 0.001), [segments_of(48 * 40)], lambda frames: None)
        next(results)
        farm.scheduler.kill()
        with pytest.raises(OutputError, match=r"found the scheduler gone.*--resume: finished segments are kept"):
            list(results)


@dataclass
class Clip:
    """A made-up clip that is worked on by a crew in two stages."""

    crew: object
    folder: Path
    fails: bool = False
    threads: set = field(default_factory=set)

    def carry_out(self):
        self.folder.mkdir()
        self.threads.add(threading.current_thread().name)
        shared = Shared(self.folder, 0.001, fails_at=1 if self.fails else -1)
        with progress.bar("measure", 96, quiet=True) as tell:
            results = list(self.crew.carry_out(counted, shared, [segments_of(96)], tell))
        with progress.bar("render", 96, quiet=True):
            return self.folder.name, len(results)


def test_clips_of_a_job_are_worked_on_at_the_same_time_and_kept_in_order(crew, tmp_path, monkeypatch):
    shown = []

    @contextmanager
    def one_bar(what, total, *, quiet):
        shown.append((what, total))
        yield lambda frames: shown.append(frames)

    monkeypatch.setattr(many, "bar", one_bar)
    clips = [Clip(crew, tmp_path / f"clip{n}") for n in range(6)]
    jobs = [many.Job(96, 3, clip.carry_out) for clip in clips]
    assert many.in_parallel(crew, jobs, "run", quiet=False) == [(f"clip{n}", 2) for n in range(6)]
    assert shown[0] == ("run", 6 * 96 * 3)
    assert sum(shown[1:]) == 6 * 96 * 3
    assert len({name for clip in clips for name in clip.threads}) > 1
    assert many.at_once(Alone(), jobs) == 1


def test_one_clip_that_fails_ends_the_others(crew, tmp_path, monkeypatch):
    # What is given up stays so; the other tests want to go on.
    monkeypatch.setattr(crew, "_stopped", threading.Event())
    clips = [Clip(crew, tmp_path / f"clip{n}", fails=n == 1) for n in range(60)]
    with pytest.raises(InputError, match="frame 48"):
        many.in_parallel(crew, [many.Job(96, 3, clip.carry_out) for clip in clips], "run", quiet=True)
    assert len(list(tmp_path.iterdir())) < 30


def test_alone_clips_follow_each_other(tmp_path):
    clips = [Clip(Alone(), tmp_path / f"clip{n}") for n in range(3)]
    jobs = [many.Job(96, 3, clip.carry_out) for clip in clips]
    assert many.in_parallel(Alone(), jobs, "run", quiet=True) == [(f"clip{n}", 1) for n in range(3)]


def test_a_job_on_a_cluster_writes_the_same_bytes(tmp_path):
    for name, frames in (("dawn", 50), ("dusk", 8)):
        (tmp_path / name).mkdir()
        write_videos(tmp_path / name, "prores.mov", wanted=[index % 48 for index in range(frames)])
    clips = [
        f'[[clip]]\nname = "{n}"\nleft = "{n}/bike_left.mov"\nright = "{n}/bike_right.mov"' for n in ("dawn", "dusk")
    ]
    (tmp_path / "job.toml").write_text("\n".join(clips))
    made = {}
    for given in ([], ["--cluster", "local:2"]):
        out = tmp_path / "out"
        typed = ["run", "--job", tmp_path / "job.toml", "--screen", "tv-55in", "--no-check", "-q", "-o", out, *given]
        assert main(list(map(str, typed))) in (0, 5)
        made[len(given)] = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        shutil.rmtree(out)
    assert made[0].keys() == made[2].keys()
    assert [path for path in made[0] if made[0][path] != made[2][path]] == []

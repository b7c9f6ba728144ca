"""A text from elsewhere is only data: it cannot take all memory, lead out of its folder, or run in a spreadsheet."""

import csv
import io
import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from plan_tables import frame, measurement
from review_job import PLANS, write_source, write_version

from postfix.errors import InputError, OutputError, UsageError
from postfix.job.lock import LOCK, claimed
from postfix.measure.columns_csv import read_columns
from postfix.measure.table_csv import read_table, table_text
from postfix.outside import (
    EDIT_MAX_BYTES,
    TABLE_MAX_BYTES,
    TOML_MAX_BYTES,
    bounded_bytes,
    cell_of,
    folder_key,
    is_folder_name,
    json_from,
    text_of,
)
from postfix.plan.file_read import read_plan
from postfix.plan.screens import load_toml
from postfix.plan.settings_file import read_settings
from postfix.review.clips import reviewed_clips
from postfix.review.report import write_report
from postfix.review.runs import find_versions, read_version
from postfix.source.editlist import read_edit_list
from postfix.source.numbered import without_gaps
from postfix.source.rate import parse_rate

# --- sizes and depths --------------------------------------------------------------------------------------------


def hollow(path, size):
    """A file of a size that takes no room."""
    with path.open("wb") as file:
        file.truncate(size)
    return path


@pytest.mark.parametrize(
    ("name", "most", "read"),
    [
        ("plan.toml", TOML_MAX_BYTES, read_plan),
        ("settings.toml", TOML_MAX_BYTES, read_settings),
        ("m.csv", TABLE_MAX_BYTES, read_table),
        ("m.csv", TABLE_MAX_BYTES, read_columns),
        ("cut.edl", EDIT_MAX_BYTES, lambda path: read_edit_list(path, rate=Fraction(24), count=1, timecode=None)),
        ("cut.otio", EDIT_MAX_BYTES, lambda path: read_edit_list(path, rate=Fraction(24), count=1, timecode=None)),
    ],
)
def test_a_file_larger_than_any_of_its_kind_is_refused_before_it_is_read(tmp_path, name, most, read):
    with pytest.raises(InputError, match=f"more than {most // 2**20} MiB"):
        read(hollow(tmp_path / name, most + 1))


def test_a_device_is_no_file_and_an_endless_one_is_not_read():
    with pytest.raises(InputError, match="a device"):
        bounded_bytes(Path("/dev/zero"), 100, "a file")


@pytest.mark.parametrize(
    "text",
    [
        "a." * 20_000 + "a = 1\n",
        "[" + "a." * 20_000 + "a]\nb = 1\n",
        " [[ " + '"a" . ' * 20_000 + "a]]\n",
        "'a'.'a'." * 10_000 + "'a' = 1\n",
    ],
)
def test_a_key_of_thousands_of_tables_is_named_with_its_line(tmp_path, text):
    path = tmp_path / "a.toml"
    path.write_text(f"x = 1\n{text}")
    with pytest.raises(InputError, match=r"line 2: found more than 32 names joined by dots"):
        load_toml(path, "a plan")


def test_dots_in_a_text_and_in_numbers_are_no_such_key(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('note = "wait' + "." * 100 + ' a.b.c"\n' + f"list = [{', '.join(['1.5'] * 100)}]\n")
    assert len(load_toml(path, "a plan")[1]["list"]) == 100


@pytest.mark.parametrize(
    "text", ["[" * 200_000, '{"a":' * 200_000, '{"OTIO_SCHEMA": "Clip.1", "a": ' + "[" * 90 + "]" * 90 + "}"]
)
def test_brackets_in_thousands_of_brackets_do_not_end_the_process(tmp_path, text):
    path = tmp_path / "cut.otio"
    path.write_text(text)
    with pytest.raises(InputError, match="brackets more than 64 deep"):
        read_edit_list(path, rate=Fraction(24), count=1, timecode=None)
    with pytest.raises(ValueError, match="deep"):
        json_from(text)


@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', '{"a": 1e999}', '{"a": NaN}', r'{"a": "\ud800"}', "9" * 5000])
def test_json_that_says_two_things_or_none_is_refused(text):
    with pytest.raises(ValueError):  # noqa: PT011 - each is said in words of its own
        json_from(text)


def test_a_thousand_events_of_one_name_are_told_apart(tmp_path):
    path = tmp_path / "cut.edl"
    code = "{:02d}:{:02d}:{:02d}:{:02d}".format
    at = [code(n // 86400, n // 1440 % 60, n // 24 % 60, n % 24) for n in range(0, 24_010, 10)]
    rows = (f"{n + 1:06d} AX V C {at[0]} {at[1]} {at[n]} {at[n + 1]}\n* FROM CLIP NAME: A\n" for n in range(2400))
    path.write_text("TITLE: X\nFCM: NON-DROP FRAME\n" + "".join(rows))
    found = read_edit_list(path, rate=Fraction(24), count=24_000, timecode=None)
    assert [shot.name for shot in found.shots[:3]] == ["A", "A_2", "A_3"]
    assert found.shots[-1].name == "A_2400"


def test_no_plugin_that_the_environment_names_is_asked_for_an_edit_list(tmp_path, monkeypatch):
    otio = pytest.importorskip("opentimelineio")
    monkeypatch.setattr(otio.adapters, "read_from_string", lambda *a, **k: pytest.fail("plugins were asked"))
    monkeypatch.setattr(otio.adapters, "read_from_file", lambda *a, **k: pytest.fail("plugins were asked"))
    for name, text in (("cut.edl", "001 A V C 00:00:00:00 00:00:01:00 00:00:00:00 00:00:01:00\n"), ("cut.otio", "{}")):
        (tmp_path / name).write_text(text)
        try:
            read_edit_list(tmp_path / name, rate=Fraction(24), count=24, timecode=None)
        except InputError:
            assert name == "cut.otio"


@pytest.mark.parametrize("text", ["1e999999999", "24e0", "1" * 400, "24/" + "1" * 400, "0x18", "2_4"])
def test_a_rate_that_would_be_reckoned_for_hours_is_none(text):
    with pytest.raises(UsageError, match="frame rate"):
        parse_rate(text)


def test_numbers_that_lie_far_apart_are_said_to_be_missing_at_once():
    with pytest.raises(InputError, match="99999999997 missing: 2–99999999998"):
        without_gaps(Path("a"), [1, 99_999_999_999], None)


# --- names and places --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        *(
            "",
            " ",
            ".",
            "..",
            "../x",
            "a/b",
            "a\\b",
            "/etc",
            "C:",
            "C:x",
            ".hidden",
            "a.",
            "a ",
            "a\0b",
            "a\nb",
            "a\x1bb",
        ),
        *("con", "NUL", "com1.txt", "LPT9", "aux .x", "a\u202eb", "a\u2028b", "a\x85b", "\ud800", "ö" * 100, "x" * 181),
    ],
)
def test_a_name_that_is_no_folder_on_some_system_is_refused(name):
    assert not is_folder_name(name)


@pytest.mark.parametrize(
    "name", ["lane", "tv-55in", "Gasse 3", "größe", "窓", "console", "a.b", "8500x12000", "-x", "=x"]
)
def test_other_names_are_folders(name):
    assert is_folder_name(name)


def test_names_that_are_one_folder_on_some_system_are_told():
    assert folder_key("É") == folder_key("e\u0301") == folder_key("é")
    assert folder_key("a") != folder_key("b")


@pytest.fixture
def out(tmp_path):
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"))
    return tmp_path / "out"


def changed(out, change):
    path = out / "tv" / "changes.json"
    log = json.loads(path.read_text(encoding="utf-8"))
    change(log)
    path.write_text(json.dumps(log), encoding="utf-8")


@pytest.mark.parametrize("path", ["/", "..", "../../in/left", "left/../../../in/left", "../tv/../../in/left"])
def test_a_log_whose_outputs_lie_elsewhere_opens_nothing_of_them(out, path):
    changed(out, lambda log: log["outputs"][0].update(path=path))
    with pytest.raises(InputError, match="lies outside the folder of its log"):
        find_versions(out)


def test_outputs_that_are_links_to_another_place_are_not_shown(out, tmp_path):
    left = out / "tv" / "left"
    victim = sorted(left.iterdir())[0]
    elsewhere = tmp_path / "private.png"
    victim.rename(elsewhere)
    victim.symlink_to(elsewhere)
    with pytest.raises(InputError, match="a link to another place"):
        write_report(out)
    victim.unlink()
    elsewhere.rename(victim)
    left.rename(tmp_path / "moved")
    left.symlink_to(tmp_path / "moved")
    with pytest.raises(InputError, match="lies outside the folder of its log"):
        write_report(out)


def test_a_version_that_is_a_link_to_another_place_is_passed_over(out, tmp_path):
    (out / "tv").rename(tmp_path / "tv")
    (out / "tv").symlink_to(tmp_path / "tv")
    with pytest.raises(InputError, match=r"no changes\.json in any folder"):
        find_versions(out)


@pytest.mark.parametrize("name", ["/etc/passwd", "../../x", "a\0b", "x" * 5000, "", ".."])
def test_a_footage_name_in_a_log_reads_no_measurement_elsewhere(out, name):
    changed(out, lambda log: log["clip"].update(name=name))
    (clip,) = reviewed_clips(out)
    assert clip.columns is None
    assert clip.columns_missing


@pytest.mark.parametrize(
    "change",
    [
        lambda log: log["sources"][0].update(path="x" * 5000),
        lambda log: log["outputs"][0].update(path="x/" * 3000),
        lambda log: log["clip"].update(frames=10**12),
        lambda log: (log["clip"].update(frames=10**7), log["shots"][-1].update(last=10**7 - 1)),
        lambda log: log["clip"].update(rate="1e999999999"),
        lambda log: log["clip"].update(width_px=10**9),
        lambda log: log["limits"].update(near_pct=10**400),
        lambda log: log["limits"].update(near_pct=1e308),
        lambda log: log["shots"][2]["window"][0].update(left_px=[1e308, 0]),
        lambda log: log["shots"][2]["window"][0].update(frame=10**30),
        lambda log: log["shots"][2]["window"].reverse(),
        lambda log: log["shots"][0].update(misalignment=[1]),
        lambda log: log["settings"].update(window=3),
    ],
)
def test_a_log_with_figures_that_no_film_has_is_refused(out, change):
    changed(out, change)
    with pytest.raises(InputError, match="no change log"):
        read_version(out / "tv")


def test_a_claim_that_is_a_link_is_no_claim_and_nothing_is_written_through_it(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / LOCK).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="a claim that cannot be read"), claimed(tmp_path / "out"):
        pytest.fail("claimed through a link")
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize("pid", ["1e999", "-1", "0", str(2**40), "[" * 5000])
def test_a_claim_of_no_process_is_refused_and_signals_nothing(tmp_path, pid):
    (tmp_path / LOCK).write_text(f'{{"pid": {pid}, "host": "", "started": ""}}')
    with pytest.raises(OutputError, match="a claim that cannot be read"), claimed(tmp_path):
        pytest.fail("claimed")


# --- spreadsheets ------------------------------------------------------------------------------------------------

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "＝1", "'=1", "''=1"]


@pytest.mark.parametrize("text", [*FORMULAS, "", "'", "it's", "'quoted'", "a=b", "001", "''"])
def test_a_cell_gives_its_text_back(text):
    assert text_of(cell_of(text)) == text
    assert cell_of(text)[:1] not in ("=", "+", "-", "@", "\t", "＝")


@pytest.mark.parametrize("name", FORMULAS)
def test_no_name_runs_as_a_formula_in_a_measurement_and_it_is_read_back_as_it_was(tmp_path, name):
    table = measurement(lambda number: frame(-0.5, 0.3), 4, (2,))
    table = replace(
        table, clip=replace(table.clip, name=name), shots=(replace(table.shots[0], name=name), *table.shots[1:])
    )
    path = tmp_path / "m.csv"
    path.write_text(table_text(table), encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert rows[0]["shot"] == rows[0]["clip"] == f"'{name}"
    assert float(rows[0]["near_pct"]) == -0.5
    for found in (read_table(path), read_columns(path)):
        assert (found.clip.name, found.shots[0].name) == (name, name)


def test_no_shot_runs_as_a_formula_in_the_table_of_frames(tmp_path):
    plans = (replace(PLANS[0], name="=HYPERLINK(1)"), *PLANS[1:])
    folder = write_version(tmp_path / "tv", write_source(tmp_path / "in"), plans=plans)
    rows = list(csv.DictReader(io.StringIO((folder / "changes.csv").read_text())))
    assert rows[0]["shot"] == "'=HYPERLINK(1)"
    assert read_version(folder).shots[0].plan.name == "=HYPERLINK(1)"

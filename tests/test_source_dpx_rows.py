"""How long the rows of a DPX file are: what its header and its sizes say, and that nothing is guessed.

Places in the header: SMPTE ST 268-1 (from memory). The files are made here byte by byte.
"""

import struct
from fractions import Fraction

import numpy as np
import pytest

from postfix.deliver.stills import write_still
from postfix.errors import InputError
from postfix.source.dpx import read_dpx, read_dpx_header
from postfix.source.stills import open_stills

UNDEFINED = 0xFFFFFFFF
PACKED, METHOD_A = 0, 1
SIZE, WIDTH, GAP, BEHIND = 16, 772, 812, 816


def codes(bits, width=21, height=12, channels=3):
    return np.random.default_rng(bits).integers(0, 1 << bits, (height, width, channels)).astype(np.uint16)


def rows_of(samples, bits, packing):
    """Bytes of each row, to the end of the word or byte that its last sample stands in."""
    flat = samples.reshape(len(samples), -1)
    if bits == 8:
        return [row.astype(np.uint8).tobytes() for row in flat]
    if bits == 16 or (bits == 12 and packing == METHOD_A):
        return [(row << (16 - bits)).astype(">u2").tobytes() for row in flat]
    rows = []
    for row in flat.tolist():
        each, step = (32 // bits, None) if packing == METHOD_A else (None, bits)
        if each is not None:
            words = [
                sum(code << (32 - bits * (place + 1)) for place, code in enumerate(row[first : first + each]))
                for first in range(0, len(row), each)
            ]
        else:
            stream = sum(code << step * place for place, code in enumerate(row))
            words = [stream >> 32 * word & UNDEFINED for word in range(-(-len(row) * bits // 32))]
        rows.append(struct.pack(f">{len(words)}I", *words))
    return rows


def dpx_file(path, samples, bits, packing, *, gap=0, tell_gap=True, behind=b"", told="file", start=2048, **patches):
    """Write one file; ``told`` is the size in its header: of the file, of the picture's end, or any number."""
    height, width, channels = samples.shape
    head = bytearray(b"\xff" * start)
    head[:4] = b"SDPX"
    body = b"".join(row + b"\xa5" * gap for row in rows_of(samples, bits, packing))
    sizes = {"file": start + len(body) + len(behind), "picture": start + len(body), "no": UNDEFINED}
    struct.pack_into(">I", head, 4, start)
    struct.pack_into(">I", head, SIZE, sizes.get(told, told))
    struct.pack_into(">HHIII", head, 768, 0, 1, width, height, 0)
    head[800:804] = bytes([{1: 6, 3: 50, 4: 51}[channels], 1, 1, bits])
    struct.pack_into(">HHIII", head, 804, packing, 0, start, gap if tell_gap else UNDEFINED, 0)
    for place, value in patches.get("patched", {}).items():
        struct.pack_into(">I", head, place, value)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(bytes(head) + body + behind)
    return path


def read(path):
    samples = read_dpx(path)[1]
    return samples.astype(np.uint16)


KINDS = [(8, 0), (10, PACKED), (10, METHOD_A), (12, PACKED), (12, METHOD_A), (16, 0)]


@pytest.mark.parametrize(("bits", "packing"), KINDS)
@pytest.mark.parametrize("gap", [1, 4, 64])
@pytest.mark.parametrize("told", ["file", "picture", "no"])
def test_a_gap_behind_each_row_that_the_header_tells_is_passed_over_at_every_depth(tmp_path, bits, packing, gap, told):
    samples = codes(bits)
    assert np.array_equal(read(dpx_file(tmp_path / "a.1.dpx", samples, bits, packing, gap=gap, told=told)), samples)


@pytest.mark.parametrize("bits", [10, 12])
def test_a_gap_may_be_told_from_the_last_byte_of_a_stream_of_bits(tmp_path, bits):
    samples = codes(bits, 23, channels=1)
    tight = -(-23 * bits // 8)
    fill = -tight % 4
    assert fill
    path = dpx_file(tmp_path / "a.1.dpx", samples, bits, PACKED, gap=8, patched={GAP: fill + 8})
    assert np.array_equal(read(path)[..., np.newaxis], samples)


@pytest.mark.parametrize("bits", [8, 12, 16])
@pytest.mark.parametrize("told", ["file", "no"])
def test_rows_of_odd_width_that_end_at_a_word_are_known_by_the_size(tmp_path, bits, told):
    samples = codes(bits)
    gap = -len(rows_of(samples, bits, METHOD_A)[0]) % 4
    path = dpx_file(tmp_path / "a.1.dpx", samples, bits, METHOD_A, gap=gap, tell_gap=False, told=told)
    assert np.array_equal(read(path), samples)


@pytest.mark.parametrize(("bits", "packing"), KINDS)
def test_a_gap_that_nothing_tells_is_refused_before_the_first_frame(tmp_path, bits, packing):
    """Whatever the header has for the size: reading on would shear the picture."""
    samples = codes(bits, 24)
    tight = 2048 + sum(map(len, rows_of(samples, bits, packing)))
    for told in ("file", "no", tight, 2100):
        dpx_file(tmp_path / "s" / "a.1.dpx", samples, bits, packing, gap=24, tell_gap=False, told=told)
        with pytest.raises(InputError, match=r"a\.1\.dpx, frame 1: .*rows whose length cannot be known") as caught:
            open_stills(tmp_path / "s", Fraction(24), None)
        assert caught.value.frame == 1


def test_where_the_size_in_the_header_and_that_of_the_file_fit_different_rows_neither_is_taken(tmp_path):
    samples = codes(12)
    tight = 2048 + sum(map(len, rows_of(samples, 12, METHOD_A)))
    path = dpx_file(tmp_path / "a.1.dpx", samples, 12, METHOD_A, gap=2, tell_gap=False, told=tight)
    with pytest.raises(InputError, match="rows whose length cannot be known"):
        read_dpx_header(path)


@pytest.mark.parametrize(("bits", "packing"), KINDS)
@pytest.mark.parametrize("patch", [{772: 20}, {772: 22}, {776: 11}, {776: 6}])
@pytest.mark.parametrize("told", ["file", "no"])
def test_a_header_with_a_smaller_size_than_its_samples_is_refused(tmp_path, bits, packing, patch, told):
    # Of 8 bits, a width less by one pixel fills the same words: no size can tell that, and rows do not slant.
    path = dpx_file(tmp_path / "a.1.dpx", codes(bits, 24), bits, packing, told=told, patched=patch)
    with pytest.raises(InputError, match=r"rows whose length cannot be known.*\d+ bytes are left behind the picture"):
        read_dpx_header(path)


@pytest.mark.parametrize(("bits", "packing"), KINDS)
def test_bytes_behind_the_picture_are_kept_where_the_picture_is_sure(tmp_path, bits, packing):
    """Few enough that no longer row and no further row would fill them, or told by the header."""
    samples = codes(bits, 64, 100)
    few, many = b"tail!" * 20, b"tail!" * 2001
    for behind, told, patched in (
        (few, "file", {}),
        (few, "no", {}),
        (many, "picture", {}),
        (many, "file", {BEHIND: len(many)}),
    ):
        path = dpx_file(tmp_path / "a.1.dpx", samples, bits, packing, behind=behind, told=told, patched=patched)
        assert np.array_equal(read(path), samples)
        write_still(tmp_path / "b.dpx", read_dpx(path)[1], like=path)
        assert (tmp_path / "b.dpx").read_bytes() == path.read_bytes()


def test_bytes_behind_the_picture_that_would_fill_every_row_need_the_header_s_word(tmp_path):
    samples = codes(10)
    end = 2048 + 12 * 21 * 4
    named = {"behind": bytes(12 * 4), "told": end}
    path = dpx_file(tmp_path / "a.1.dpx", samples, 10, METHOD_A, patched={BEHIND: 12 * 4}, **named)
    assert np.array_equal(read(path), samples)
    with pytest.raises(InputError, match="rows whose length cannot be known"):
        read_dpx_header(dpx_file(tmp_path / "a.1.dpx", samples, 10, METHOD_A, **named))


def test_some_kilobytes_behind_a_picture_of_full_hd_are_no_obstacle(tmp_path):
    """As where a file is filled up to a block of a disk."""
    samples = np.zeros((1080, 1920, 3), np.uint16)
    head = dpx_file(tmp_path / "a.1.dpx", samples[:1, :1], 10, METHOD_A).read_bytes()[:2048]
    whole = bytearray(head + bytes(4 * 1920 * 1080 + 2048))
    struct.pack_into(">I", whole, SIZE, len(whole))
    struct.pack_into(">II", whole, WIDTH, 1920, 1080)
    (tmp_path / "a.1.dpx").write_bytes(whole)
    assert read_dpx_header(tmp_path / "a.1.dpx").row_bytes == 4 * 1920


def test_a_size_in_the_header_of_the_picture_alone_or_left_from_before_does_no_harm(tmp_path):
    samples = codes(10)
    for told in (12 * 21 * 4, 2100, 2048):
        path = dpx_file(tmp_path / "a.1.dpx", samples, 10, METHOD_A, told=told)
        assert np.array_equal(read(path), samples)


# --- written ---


@pytest.mark.parametrize(("bits", "packing"), KINDS)
@pytest.mark.parametrize("gap", [0, "word", 64])
@pytest.mark.parametrize("wide", [7, 20, 42])
def test_a_picture_of_another_size_keeps_the_rule_of_its_rows(tmp_path, bits, packing, gap, wide):
    samples = codes(bits)
    fill = -len(rows_of(samples, bits, packing)[0]) % 4
    gap = fill if gap == "word" else gap
    like = dpx_file(tmp_path / "a.1.dpx", samples, bits, packing, gap=gap)
    other = codes(bits, wide, 9)
    out = tmp_path / "b.1.dpx"
    write_still(out, other.astype(np.uint8) if bits == 8 else other, like=like)
    header = read_dpx_header(out)
    assert np.array_equal(read(out), other)
    assert struct.unpack_from(">I", out.read_bytes(), SIZE)[0] == out.stat().st_size == header.end
    tight = len(rows_of(other, bits, packing)[0])
    assert header.row_bytes - tight == (-tight % 4 if gap == fill and gap else gap)


def test_a_gap_is_there_again_when_the_same_size_is_written(tmp_path):
    samples = codes(10)
    like = dpx_file(tmp_path / "a.1.dpx", samples, 10, METHOD_A, gap=8, behind=b"tail!")
    write_still(tmp_path / "b.dpx", samples[:, ::-1], like=like)
    before, after = like.read_bytes(), (tmp_path / "b.dpx").read_bytes()
    assert (after[:2048], after[-5:], len(after)) == (before[:2048], before[-5:], len(before))
    assert np.array_equal(read(tmp_path / "b.dpx"), samples[:, ::-1])


# --- samples that begin early ---


def test_samples_before_byte_2048_are_not_taken_for_timecode_or_fields(tmp_path):
    samples = np.full((60, 20, 3), 0x101, np.uint16)  # bytes that all say 1, the word for interlaced
    path = dpx_file(tmp_path / "a.1.dpx", samples, 16, 0, start=1664)
    header = read_dpx_header(path)
    assert (header.start, header.timecode_word) == (1664, None)
    assert np.array_equal(read(path), samples)
    write_still(tmp_path / "b.dpx", samples, like=path)
    assert (tmp_path / "b.dpx").read_bytes() == path.read_bytes()


def test_a_whole_file_may_be_shorter_than_the_longest_header(tmp_path):
    samples = codes(8, 4, 4)
    assert np.array_equal(read(dpx_file(tmp_path / "a.1.dpx", samples, 8, 0, start=1664)), samples)


def test_samples_inside_the_header_are_refused(tmp_path):
    path = dpx_file(tmp_path / "a.1.dpx", codes(10), 10, METHOD_A, patched={808: 1000})
    with pytest.raises(InputError, match="samples from byte 1000 on, inside its header"):
        read_dpx_header(path)

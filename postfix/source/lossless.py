"""Whether a coded video is lossless, as its own headers say; what is not known counts as lossy."""

from __future__ import annotations

from collections.abc import Callable

_H264_SPS, _HEVC_PPS = 7, 34
_HIGH_444 = 244


def is_lossless(codec: str, extradata: bytes, packet: bytes) -> bool:
    """True where a stream says that nothing is lost by its coding.

    Parameters
    ----------
    codec : str
        FFmpeg's name.
    extradata : bytes
        The stream's header, with start codes or in the form that MP4 gives it (avcC, hvcC).
    packet : bytes
        The first coded picture.
    """
    if codec == "ffv1":
        return True
    try:
        if codec == "jpeg2000":
            return _is_reversible(packet)
        if codec == "h264":
            units = _units(extradata, packet, _avc_units)
            return any(_h264_bypasses(unit) for unit in units if unit[0] & 31 == _H264_SPS)
        if codec == "hevc":
            units = _units(extradata, packet, _hevc_units)
            return any(_hevc_bypasses(unit) for unit in units if unit[0] >> 1 & 63 == _HEVC_PPS)
    except (IndexError, ValueError):
        pass
    return False


def _is_reversible(packet: bytes) -> bool:
    """JPEG 2000's COD marker names the wavelet last: 1 is the reversible 5-3 (ITU-T T.800, A.6.1, from memory)."""
    return packet[packet.index(b"\xff\x52") + 13] == 1


def _units(extradata: bytes, packet: bytes, packed: Callable[[bytes], list[bytes]]) -> list[bytes]:
    """NAL units of a header, or of the first packet where there is no header, without emulation prevention."""
    if extradata[:1] == b"\1":
        units = packed(extradata)
    else:
        # Units that follow start codes; zeros before the next code belong to it.
        units = [unit.rstrip(b"\0") for unit in (extradata or packet).split(b"\0\0\1")[1:]]
    return [unit.replace(b"\0\0\3", b"\0\0") for unit in units if len(unit) > 3]


def _avc_units(data: bytes) -> list[bytes]:
    """Units of an avcC record: its sequence parameter sets (ISO/IEC 14496-15, from memory)."""
    return _run_of_units(data, 6, data[5] & 31)[0]


def _hevc_units(data: bytes) -> list[bytes]:
    """Units of an hvcC record: arrays, each with a type and a count (ISO/IEC 14496-15, from memory)."""
    units, at = [], 23
    for _ in range(data[22]):
        found, at = _run_of_units(data, at + 3, int.from_bytes(data[at + 1 : at + 3], "big"))
        units += found
    return units


def _run_of_units(data: bytes, at: int, count: int) -> tuple[list[bytes], int]:
    units = []
    for _ in range(count):
        size = int.from_bytes(data[at : at + 2], "big")
        units.append(data[at + 2 : at + 2 + size])
        at += 2 + size
    return units, at


class _Bits:
    """Bits of a parameter set, the highest first, with the Exp-Golomb numbers of H.264 and H.265."""

    def __init__(self, data: bytes) -> None:
        self._bits = "".join(f"{byte:08b}" for byte in data)
        self._at = 0

    def take(self, count: int) -> int:
        taken = self._bits[self._at : self._at + count]
        if len(taken) < count:
            raise IndexError("the parameter set ends early")
        self._at += count
        return int(taken, 2) if count else 0

    def number(self) -> int:
        """ue(v); a signed se(v) takes the same bits."""
        zeros = 0
        while not self.take(1):
            zeros += 1
        return (1 << zeros) - 1 + self.take(zeros)


def _h264_bypasses(unit: bytes) -> bool:
    """qpprime_y_zero_transform_bypass_flag of an SPS (ITU-T H.264, 7.3.2.1.1), set to code losslessly."""
    if unit[1] != _HIGH_444:
        return False
    bits = _Bits(unit[4:])
    bits.number()
    if bits.number() == 3:
        bits.take(1)
    bits.number(), bits.number()
    return bool(bits.take(1))


def _hevc_bypasses(unit: bytes) -> bool:
    """transquant_bypass_enabled_flag of a PPS (ITU-T H.265, 7.3.2.3.1)."""
    bits = _Bits(unit[2:])
    bits.number(), bits.number()
    bits.take(7)
    for _ in range(3):
        bits.number()
    bits.take(2)
    if bits.take(1):
        bits.number()
    bits.number(), bits.number()
    bits.take(3)
    return bool(bits.take(1))

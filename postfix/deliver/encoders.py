"""The encoders there are, what each takes, and the names a person types for them."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import av

from postfix import effort
from postfix.deliver.depth import bits_of, layout_of, nearest_format
from postfix.source.pixel_formats import is_interleaved, is_supported


@dataclass(frozen=True)
class Profile:
    """A codec's profile: how the encoder is asked for it, and which pixel formats it takes (empty: all)."""

    option: str
    formats: tuple[str, ...] = ()


@dataclass(frozen=True)
class Encoder:
    """How one codec is written.

    Attributes
    ----------
    name : str
        FFmpeg's encoder.
    options : tuple of (str, str)
        Its settings.
    fixed_threads : int
        Where the coded bytes depend on it; 0 where they do not.
    profiles : dict of str to Profile
        By the names that a file tells; a profile that is not here is refused. Empty where the codec has none.
    lossless : bool
        True where it always is.
    refused : tuple of str
        Pixel formats that the encoder offers but that do not come back as they went in.
    smallest_px : (int, int)
        Width and height.
    """

    name: str
    options: tuple[tuple[str, str], ...]
    fixed_threads: int
    profiles: dict[str, Profile]
    lossless: bool
    refused: tuple[str, ...] = ()
    smallest_px: tuple[int, int] = (1, 1)

    @property
    def threads(self) -> int:
        """That it is given now; 0 for as many as the machine has."""
        return self.fixed_threads or effort.current().library_threads


_422_10 = ("yuv422p10le",)
_444_10 = ("yuv444p10le", "yuva444p10le")

ENCODERS: dict[str, Encoder] = {
    # Every frame a key frame, four slices each with a checksum: damage stays small and is seen. Where one chroma
    # sample serves four columns, samples at the edges of slices came back wrong.
    "ffv1": Encoder(
        "ffv1",
        (("level", "3"), ("g", "1"), ("slices", "4"), ("slicecrc", "1")),
        0,
        {},
        True,
        refused=("yuv410p", "yuv411p"),
    ),
    # Of the two encoders the library has, this one took a third of the time and came nearer to its input (rmse 1.13
    # against 1.46 of 1023 on the demo film at about the same size, FFmpeg 8.1).
    "prores": Encoder(
        "prores_aw",
        (),
        0,
        {
            "Proxy": Profile("0", _422_10),
            "LT": Profile("1", _422_10),
            "Standard": Profile("2", _422_10),
            "HQ": Profile("3", _422_10),
            "4444": Profile("4", _444_10),
            "XQ": Profile("5", _444_10),
        },
        False,
    ),
    "dnxhd": Encoder(
        "dnxhd",
        (),
        0,
        {
            "DNXHR LB": Profile("dnxhr_lb", ("yuv422p",)),
            "DNXHR SQ": Profile("dnxhr_sq", ("yuv422p",)),
            "DNXHR HQ": Profile("dnxhr_hq", ("yuv422p",)),
            "DNXHR HQX": Profile("dnxhr_hqx", ("yuv422p10le",)),
            "DNXHR 444": Profile("dnxhr_444", ("yuv444p10le", "gbrp10le")),
        },
        False,
        smallest_px=(256, 120),
    ),
    # Constant quality 12: visually lossless (common practice, no source). One thread: x264's bytes depend on how many,
    # and with four of them 2 to 10 of 100 codings of the same pictures (4:2:2 with 10 bits) came out otherwise.
    "h264": Encoder(
        "libx264",
        (("crf", "12"), ("preset", "medium")),
        1,
        {
            "Baseline": Profile("baseline"),
            "Constrained Baseline": Profile("baseline"),
            "Main": Profile("main"),
            "High": Profile("high"),
            "High 10": Profile("high10"),
            "High 10 Intra": Profile("high10"),
            "High 4:2:2": Profile("high422"),
            "High 4:2:2 Intra": Profile("high422"),
            "High 4:4:4 Predictive": Profile("high444"),
            "High 4:4:4 Intra": Profile("high444"),
        },
        False,
        # Written as 4:2:0.
        refused=("gray", "gray10le"),
    ),
    # The profile follows from the pixel format. Below one block of 64 columns the x265 of PyAV 18.1 writes beyond its
    # memory.
    "hevc": Encoder(
        "libx265",
        (("crf", "12"), ("preset", "medium")),
        0,
        {name: Profile("") for name in ("Main", "Main 10", "Rext")},
        False,
        refused=("yuvj422p", "yuvj444p", "yuva420p", "yuva420p10le"),
        smallest_px=(64, 16),
    ),
    # The reversible wavelet.
    "jpeg2000": Encoder(
        "jpeg2000", (("pred", "1"),), 0, {}, True, refused=("yuv440p10le", "yuv440p12le", "gray9le", "gray14le")
    ),
}
"""How each codec that can be read is written, by FFmpeg's name of the codec."""

CODECS: dict[str, tuple[str, str]] = {
    "prores-proxy": ("prores", "Proxy"),
    "prores-lt": ("prores", "LT"),
    "prores": ("prores", "Standard"),
    "prores-hq": ("prores", "HQ"),
    "prores-4444": ("prores", "4444"),
    "dnxhr-lb": ("dnxhd", "DNXHR LB"),
    "dnxhr-sq": ("dnxhd", "DNXHR SQ"),
    "dnxhr-hq": ("dnxhd", "DNXHR HQ"),
    "dnxhr-hqx": ("dnxhd", "DNXHR HQX"),
    "dnxhr-444": ("dnxhd", "DNXHR 444"),
    "ffv1": ("ffv1", ""),
    "h264": ("h264", ""),
    "h265": ("hevc", ""),
    "jpeg2000": ("jpeg2000", ""),
}
"""What a person types for a codec: the codec and the profile that are meant."""


_FULL_RANGE_NAMES = {
    "h264": {"yuv420p": "yuvj420p", "yuv422p": "yuvj422p", "yuv444p": "yuvj444p"},
    "hevc": {"yuv420p": "yuvj420p"},
}
"""What decoders call 8-bit pictures of full range, seen with the FFmpeg 8.1 of PyAV 18.1; of others they tell the
range in the tags alone."""


def read_back_as(codec: str, pixel_format: str, full_range: bool | None = None) -> str:
    """The pixel format that the decoder gives for pictures written in one, of a range as in the tags."""
    if full_range:
        pixel_format = _FULL_RANGE_NAMES.get(codec, {}).get(pixel_format, pixel_format)
    if codec == "prores" and layout_of(pixel_format) != "yuv422p":
        return pixel_format.replace("10le", "12le")
    if codec == "jpeg2000" and not pixel_format.startswith("yuv"):
        deep = bits_of(pixel_format) > 8
        name = {"gbrp": "rgb", "gbrap": "rgba", "gray": "gray"}[layout_of(pixel_format)]
        return name + {"rgb": ("24", "48le"), "rgba": ("", "64le"), "gray": ("", "16le")}[name][deep]
    return pixel_format


@functools.cache
def formats_of(codec: str, profile: str = "") -> tuple[str, ...]:
    """Pixel formats that a codec is written with; of a profile where one is named and known."""
    encoder = ENCODERS[codec]
    formats = [fmt.name for fmt in av.Codec(encoder.name, "w").video_formats or ()]
    # RGB side by side is JPEG 2000's own form; FFV1 would give it back in planes.
    able = [
        name
        for name in formats
        if is_supported(name) and name not in encoder.refused and (codec == "jpeg2000" or not is_interleaved(name))
    ]
    of_profile = encoder.profiles.get(profile, Profile("")).formats
    return tuple(name for name in able if not of_profile or name in of_profile)


def size_fault(codec: str, pixel_format: str, width: int, height: int) -> tuple[str, str] | None:
    """What is wrong with a size in a codec and pixel format, and what should be; None where nothing is."""
    least_x, least_y = ENCODERS[codec].smallest_px
    if width < least_x or height < least_y:
        return f"{width}x{height}, too small for {codec}", f"at least {least_x}x{least_y}"
    if codec in ("ffv1", "jpeg2000", "dnxhd"):
        return None
    layout = av.VideoFormat(pixel_format, 16, 16)
    chroma = layout.components[1] if len(layout.components) > 1 else layout.components[0]
    step_x, step_y = 16 // chroma.width, 16 // chroma.height
    if codec == "prores":
        step_x = 2
    if width % step_x == 0 and height % step_y == 0:
        return None
    wanted = " and ".join(word for step, word in ((step_x, "an even width"), (step_y, "an even height")) if step > 1)
    return f"{width}x{height}, which {codec} cannot hold in {pixel_format}", wanted


def choices_for(pixel_format: str, size: tuple[int, int] | None = None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of :data:`CODECS` that keep every bit of a pixel format, and those that would round some away; only those
    that hold pictures of a size (width, height) where one is given."""
    fitting = {name: nearest_format(pixel_format, formats_of(*meant)) for name, meant in CODECS.items()}
    if size is not None:
        fitting = {
            name: fit for name, fit in fitting.items() if fit and size_fault(CODECS[name][0], fit, *size) is None
        }
    keeps = tuple(name for name, fit in fitting.items() if fit and bits_of(fit) == bits_of(pixel_format))
    return keeps, tuple(name for name, fit in fitting.items() if fit and name not in keeps)


def choice_to_make(pixel_format: str, size: tuple[int, int] | None = None) -> str:
    """The next step: what to type for pictures of a format, and of a size where one is given."""
    try:
        keeps, rounds = choices_for(pixel_format, size)
    except ValueError:
        keeps, rounds = (), ()
    if not keeps and not rounds:
        return "export the clip in another codec first"
    words = [f"{_listed(keeps)} its {bits_of(pixel_format)} bits"] if keeps else []
    words += [f"{', '.join(rounds)} with fewer bits"] if rounds else []
    return f"choose another with --codec: {'; '.join(words)}"


def _listed(names: tuple[str, ...]) -> str:
    return f"{', '.join(names)} {'take' if len(names) > 1 else 'takes'}"

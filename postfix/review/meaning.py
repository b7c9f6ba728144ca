"""What the figures of the page mean, and the caution that comes first."""

from __future__ import annotations

CAUTION = (
    "Figures guide; they do not replace watching on the real screen with fresh eyes. Children’s eyes are closer "
    "together, and people differ in how much depth they can take. Local rules and qualified practice go first."
)

_TERMS = (
    (
        "Parallax",
        "how far apart the two eyes’ images of the same point are: its place in the right eye’s picture minus its "
        "place in the left eye’s, in percent of picture width. Positive is behind the screen, negative in front of "
        "it (the sign of ETSI TS 101 547).",
    ),
    (
        "Near and far",
        "the 1st and the 99th percentile of parallax over the part of the picture that both eyes see. The figure of a "
        "shot is the worst of its frames, single wild frames voted down. “Not measured” means just that: nothing is "
        "known, and it is never a zero.",
    ),
    (
        "Limits",
        "far: positive parallax no wider than the eyes are apart, hardly any divergence (McKay 1953), and no more than "
        "60 arcmin behind the screen; near and range: 60 arcmin (Report ITU-R BT.2293-0). The strictest decides; each "
        "screen’s table names its rule.",
    ),
    (
        "HIT",
        "horizontal image translation: both eyes’ pictures are moved sideways, half each (in whole steps the right eye "
        "takes an odd one), which moves the whole scene away (positive) or closer (negative). The range between near "
        "and far stays as it is.",
    ),
    (
        "Edge parallax",
        "the most negative parallax of content that touches a side edge. What sits in front of the edge that cuts it "
        "looks wrong (Report ITU-R BT.2160-2).",
    ),
    (
        "Window",
        "a black strip at the left edge of the left eye or the right edge of the right eye. Hiding it there brings "
        "that edge forward, up to the content, so that nothing is cut off by something behind it. Columns that a move "
        "lays bare move the edge too.",
    ),
    (
        "Range",
        "far minus near within one frame: what HIT cannot change. A shot whose range is beyond the budget cannot fit "
        "that screen whatever is done to it, short of other pictures.",
    ),
    (
        "Divergence",
        "positive parallax wider than the eyes are apart makes them turn outwards. Half a prism dioptre (0.286°) of it "
        "is already uncomfortable for most (McKay 1953); how much may be there stands with each screen’s limits.",
    ),
    (
        "Anaglyph",
        "both eyes in one picture for red (left) and cyan (right) glasses, by a least-squares projection (Dubois 2001) "
        "of the coded values. Colours differ from those of the film, and a small picture shows less depth than a large "
        "screen: it is for finding things, not for judging comfort.",
    ),
    (
        "Depth map",
        "the parallax of every point of the frame shown that both eyes see, on the left eye’s picture. One scale holds "
        "for all shots of a clip. What is hatched in grey could not be measured or is seen by one eye only.",
    ),
    (
        "Histogram",
        "how much of the measured part of the frame shown lies at each parallax. Near and far leave out the 1 % at "
        "either end, so a little may stand beyond a limit that is kept.",
    ),
    (
        "Trying out",
        "what the plan’s own reckoning says of another HIT or window, from the measurement of the source. What was "
        "measured on the finished files stands in the tables; the two differ by what measuring can tell.",
    ),
    (
        "Frames that cannot be read",
        "where a frame of either eye could not be decoded, both eyes show the last frame before it of which both could "
        "(at the head of a clip the next one), or black, as was asked. Nothing is measured there on the source.",
    ),
    (
        "After",
        "measured on the written files, opened again. Millimetres and arcminutes hold for the screen, the viewing "
        "distance and the eye distance named; a nearer seat sees larger angles.",
    ),
)


def meaning() -> str:
    """The section as HTML."""
    items = "".join(f"<p><strong>{word}</strong>: {text}</p>" for word, text in _TERMS)
    return f"<section><h2>What the figures mean</h2>{items}</section>"

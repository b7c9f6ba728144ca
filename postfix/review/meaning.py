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
        "horizontal image translation: both eyes’ pictures are moved sideways, half each, which moves the whole scene "
        "away (positive) or closer (negative). The range between near and far stays as it is.",
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
        "After",
        "measured on the written files, opened again. Millimetres and arcminutes hold for the screen, the viewing "
        "distance and the eye distance named; a nearer seat sees larger angles.",
    ),
)


def meaning() -> str:
    """The section as HTML."""
    items = "".join(f"<p><strong>{word}</strong>: {text}</p>" for word, text in _TERMS)
    return f"<section><h2>What the figures mean</h2>{items}</section>"

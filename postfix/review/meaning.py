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
        "Depth volume",
        "far minus near of a shot, in percent of width, and in metres as it is seen from the screen’s own seat. A "
        "distance as seen is V·e / (e − P): viewing distance V, eye distance e, parallax P (Holliman’s course notes on "
        "3D displays). Where the eyes would be parallel or turned apart there is none, and none is shown.",
    ),
    (
        "Main mass and depth jump",
        "the main mass of a shot is the middle of its medians. The jump at a cut is the difference of the medians on "
        "both sides of it. A hard one is larger than the settings allow (30 arcmin: project default, no source).",
    ),
    (
        "Quick cuts",
        "cuts with a jump into shots that leave little time to look: by default over 15 arcmin into less than 1.5 s "
        "(project default, no source). Several in a row are a run.",
    ),
    (
        "In front, and its size",
        "the largest thing in front of the screen, in the frame where it is widest. How wide it seems is its width on "
        "the screen × Z / V, at the distance Z where it is seen. The same thing is larger in a cinema and nearer on a "
        "television, where people may look like toys (common practice, no source).",
    ),
    (
        "Seats",
        "the same pictures from the front, the screen’s own, the back and a side seat (places: project default, no "
        "source). Nearer seats see larger angles and less depth, farther ones more depth. From the side all is sheared "
        "towards that seat.",
    ),
    (
        "Roundness",
        "depth against width as seen from the screen’s own seat, where the camera’s figures were noted: 1 as in life, "
        "less is flat, more is stretched (pinhole cameras: computed). From when a shot is said to be flat or "
        "stretched is a project default, no source.",
    ),
    (
        "Interaxial rules",
        "1/30 and 1/100: nothing nearer than 30 or 100 times the interaxial (common practice, no source). The formula "
        "of Bercovitz (1998, Proc. SPIE 3295) says which interaxial fills the room for depth that this screen has. "
        "They guide the next set-up and judge nothing.",
    ),
    (
        "△",
        "something that a person should know. It is no limit, and changes neither verdicts nor the exit code of the "
        "program.",
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

"""Style sheets and scripts of the page."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

_STYLES = ("style.css", "cards.css", "charts.css", "depth.css", "story.css", "tryout.css")
_SCRIPTS = ("load.js", "page.js", "charts_data.js", "charts.js", "story.js", "tryout_rules.js", "tryout.js")
_END_OF_COLOURS = "/* Text */"


@cache
def _asset(name: str) -> str:
    return (files(__name__) / name).read_text(encoding="utf-8")


def page_style() -> str:
    """All style sheets of the page, in order."""
    return "".join(map(_asset, _STYLES))


def page_script() -> str:
    """All scripts of the page, in order."""
    return "".join(map(_asset, _SCRIPTS))


def drawing_style() -> str:
    """What a drawing in a file of its own needs: the colours of the page, and the classes of drawings."""
    return _asset("style.css").split(_END_OF_COLOURS, 1)[0] + _asset("depth.css")

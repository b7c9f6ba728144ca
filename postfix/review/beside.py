"""What lies beside the page, so that the page stays small: pictures, drawings, figures and the chart library.

A page opened from disk may not read files by itself; it may show pictures and run scripts. So figures lie in scripts
that hand them over: ``postfix.give("c0/frames", {...})``.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from plotly.offline import get_plotlyjs

from postfix.deliver.own import PAGE_FOLDER
from postfix.review.assets import drawing_style
from postfix.review.pictures import Rgb, jpeg_bytes

PLOTLY = "plotly.min.js"
QUALITY = 75
"""Of JPEG: what is looked for is where edges lie, not the finest grain."""


class Beside:
    """The folder beside a page while it is filled.

    Parameters
    ----------
    folder : Path
        Where it is written; it exists. The page will know it as :data:`postfix.deliver.own.PAGE_FOLDER`.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def picture(self, name: str, rgb: Rgb, *, full_chroma: bool = True) -> str:
        """Write a picture as JPEG under a name such as ``c0/12-left``; its address as the page has it.

        Parameters
        ----------
        name : str
            Of letters, digits, ``-`` and ``/``, never text from outside.
        rgb : (H, W, 3) uint8
        full_chroma : bool
            False for what is no anaglyph (:func:`postfix.review.pictures.jpeg_bytes`).
        """
        return self._written(f"{name}.jpg", jpeg_bytes(rgb, QUALITY, full_chroma=full_chroma))

    def drawing(self, name: str, svg: str) -> str:
        """Write a drawing, in the colours of the page, light or dark as the page is; its address.

        Parameters
        ----------
        name : str
        svg : str
            An SVG element that is drawn with the classes of the page's style sheets.
        """
        element = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        head, body = element.split(">", 1)
        return self._written(f"{name}.svg", f"{head}><style>{drawing_style()}</style>{body}\n".encode())

    def data(self, key: str, value: Any) -> str:
        """Write figures as a script that gives them to the page under ``key``, such as ``c0/12``; its address.

        ``value`` is what JSON holds; a NaN is an error, since it would be read as a figure.
        """
        text = json.dumps(value, allow_nan=False, separators=(",", ":"))
        return self._written(f"{key}.js", f"postfix.give({json.dumps(key)},{text});\n".encode("ascii"))

    def chart_library(self) -> str:
        """Write the chart library; its address."""
        return self._written(PLOTLY, get_plotlyjs().encode("utf-8"))

    def _written(self, name: str, content: bytes) -> str:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        return f"{PAGE_FOLDER}/{name}"

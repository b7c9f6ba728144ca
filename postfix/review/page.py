"""The page as one HTML file: its head, its style and scripts, and what may be loaded by it."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence

from postfix.review.assets import page_script, page_style
from postfix.review.words import escaped

GENERATOR = '<meta name="generator" content="postfix-stereo">'
"""What a page of this program is known by."""


def script_element() -> str:
    """The page's own script. It does what it can with what stands above it, and the rest once all is there."""
    return f"<script>{page_script()}</script>"


def html_page(title: str, body: str, wanted_first: Sequence[str] = (), more_style: str = "") -> str:
    """The whole file.

    It may show pictures and run scripts that lie beside it, and its own script, known by its hash. Anything else is
    refused by the browser: another address, a script that came in with a name, a connection.

    Parameters
    ----------
    title : str
        Plain text.
    body : str
        HTML, with :func:`script_element` somewhere in it.
    wanted_first : sequence of str
        Scripts beside the page that what is seen first needs: a long page is read for seconds meanwhile.
    more_style : str
        Style elements for the head, besides the page's own.
    """
    asked = "".join(f'<link rel="preload" as="script" href="{escaped(src)}">' for src in wanted_first)
    digest = base64.b64encode(hashlib.sha256(page_script().encode("utf-8")).digest()).decode("ascii")
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; img-src 'self' file: data: blob:; "
        f"script-src 'self' file: 'sha256-{digest}'; style-src 'unsafe-inline'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'{GENERATOR}<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escaped(title)}</title>{asked}<style>{page_style()}</style>{more_style}</head>\n"
        f"<body>{body}</body></html>\n"
    )

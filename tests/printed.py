"""Names of every kind, and how wide what is printed of them is."""

import unicodedata

from hypothesis import strategies as st

NAMES = st.one_of(
    st.text(max_size=120),
    st.text(st.sampled_from("ab…灯台の\u0301\x1b[2J\n\r\t "), max_size=120),
    st.builds("".join, st.lists(st.sampled_from(["harbour_", "wide_", "a", "b"]), max_size=20)),
)


def wide(text):
    """Columns by the Unicode database alone: wide and fullwidth letters two, combining marks none."""
    return sum(
        0 if unicodedata.category(letter) in ("Mn", "Me") else 1 + (unicodedata.east_asian_width(letter) in "WF")
        for letter in text
    )

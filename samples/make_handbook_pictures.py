"""Draws the pictures of the handbook again.

    python samples/make_handbook_pictures.py [folder]

They go to docs/handbook unless a folder is given.
"""

import sys
from pathlib import Path

from postfix.review.geometry_pictures import handbook_pictures

FOLDER = Path(__file__).parents[1] / "docs" / "handbook"


def main(folder=FOLDER):
    folder.mkdir(parents=True, exist_ok=True)
    for name, svg in handbook_pictures().items():
        path = folder / name
        path.write_text(svg, encoding="utf-8", newline="\n")
        print(path, path.stat().st_size, "bytes")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))

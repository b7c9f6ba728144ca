"""Fetch the real pairs with measured disparity that packages carry, and unpack only the pictures.

.venv/bin/python tests/bench/fetch_pairs.py FOLDER     then     POSTFIX_PAIRS=FOLDER .venv/bin/python tests/bench/...

"Aloe" comes from Debian's package ``opencv-doc`` (96 MB) through ``apt-get``, on a Debian machine; "Cones" from the
source package of ``pandora`` 1.9.0 on PyPI (43 MB) through ``pip``, which builds the package's metadata on the way and
so takes some minutes and a C++ compiler. Each picture is checked against the SHA-256 that was seen; nothing is
installed.
"""

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

SHA256 = {
    "aloeL.jpg": "cce5736808efe80d9f04b118dbb978c344d4345672b332718c3e039a3eeb8eee",
    "aloeR.jpg": "9b23100df31a846bc6e6a6545563b2b4120b948c9835c7d36cde00af77f4503e",
    "aloeGT.png": "39ce4f3cb48d797d1091c5152f93361d8104298c337f8a1c134d87dda3442c04",
    "left_rgb.tif": "a595cef06d6d96e2371ae159b0b378330b234fa4386a3915e79358a042722d20",
    "right_rgb.tif": "8514db7fde480169387d37af495e409b8a2af806516ddea3364f5e1ed78eb9d7",
    "Cones_LEFT_GT.tif": "e24f67ada270d46778a084ae889d7d9ad6e49979c42036ace3c62e14d488c31e",
}


def from_debian(place):
    """Yield name and bytes of the pictures in Debian's package ``opencv-doc``."""
    subprocess.run(["apt-get", "download", "opencv-doc"], cwd=place, check=True)
    (package,) = place.glob("opencv-doc_*.deb")
    unpacked = place / "opencv-doc"
    subprocess.run(["dpkg-deb", "--extract", package, unpacked], check=True)
    for path in unpacked.rglob("aloe*"):
        yield path.name, path.read_bytes()


def from_pypi(place):
    """Yield name and bytes of the pictures in the source package of ``pandora`` on PyPI."""
    asked = ["--no-deps", "--no-binary", "pandora", "--dest", str(place), "pandora==1.9.0"]
    subprocess.run([sys.executable, "-m", "pip", "download", *asked], check=True)
    with tarfile.open(place / "pandora-1.9.0.tar.gz") as package:
        for member in package:
            if "/notebooks/data/" in member.name and member.isfile():
                yield Path(member.name).name, package.extractfile(member).read()


def fetch(folder: Path) -> list[str]:
    """Fill ``folder``; returns what went wrong, one sentence a package or picture."""
    folder.mkdir(parents=True, exist_ok=True)
    faults = []
    for source in (from_debian, from_pypi):
        with tempfile.TemporaryDirectory() as name:
            try:
                for picture, content in source(Path(name)):
                    if picture in SHA256 and hashlib.sha256(content).hexdigest() != SHA256[picture]:
                        faults.append(f"{picture} is not the picture that was seen; it is left out.")
                    elif picture in SHA256:
                        (folder / picture).write_bytes(content)
            except (OSError, subprocess.CalledProcessError) as error:
                faults.append(f"{source.__doc__.split(' in ', 1)[1]} was not to be had: {error}")
    return faults + [f"{picture} is missing." for picture in SHA256 if not (folder / picture).is_file()]


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    if shutil.which("apt-get") is None:
        print("No apt-get here: Aloe stays away.", file=sys.stderr)
    trouble = fetch(Path(sys.argv[1]))
    print(*trouble, sep="\n", file=sys.stderr)
    sys.exit(1 if trouble else 0)

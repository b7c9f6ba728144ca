"""Running a part of a test without the rights of root."""

import os
from contextlib import contextmanager


@contextmanager
def ordinary_user():
    """Root may write everywhere, so its rights are laid down for a moment."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)

"""``python -m postfix`` is the command ``postfix-stereo``."""

import sys

from postfix.cli import main

sys.exit(main())

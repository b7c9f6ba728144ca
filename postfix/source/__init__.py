"""Both eyes in: video and numbered stills, checked against each other before the first frame."""

"""Published values of drop-frame timecode."""

# Drop-frame at 29.97 (SMPTE ST 12-1): values from OpenTimelineIO's tests (read); the last one computed apart.
DROP_FRAME_TABLE = [
    (1799, "00:00:59;29"),
    (1800, "00:01:00;02"),
    (8992, "00:05:00;02"),
    (17981, "00:09:59;29"),
    (17982, "00:10:00;00"),
    (1084319, "10:03:00;05"),
    (107892, "01:00:00;00"),
]

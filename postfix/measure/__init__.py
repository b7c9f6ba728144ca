"""Parallax and the differences between the eyes, frame by frame."""

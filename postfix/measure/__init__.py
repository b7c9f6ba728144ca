"""Parallax and the differences between the eyes, frame by frame."""

from postfix.measure.arrays import measure_pair

__all__ = ["measure_pair"]

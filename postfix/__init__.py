"""Finishing of stereoscopic films: measure, decide, correct, check and log both eyes."""

__version__ = "0.1.0"

"""One eye written on its own, for the tests of writers."""

from postfix.deliver.eye_out import EyeOut
from postfix.source.pair import PairSource


def eye_out(eye, codec=None):
    return EyeOut(PairSource(eye, eye, "clip"), "left", codec)


def writer_like(eye, folder):
    return eye_out(eye).writer(folder)


def reopen_and_count(folder, eye):
    return eye_out(eye).reopen(folder)

"""Work side by side, its results in order."""

import threading
import time

import cv2
import pytest

from postfix.source.in_order import in_order


def test_results_come_in_order_whichever_is_done_first():
    def slow(number):
        time.sleep(0.02 if number % 2 else 0.0)
        return number

    assert list(in_order(slow, ((n,) for n in range(20)), threads=3, waiting=5, name="t")) == list(range(20))


def test_no_more_is_taken_than_may_wait():
    taken = []

    def each():
        for number in range(100):
            taken.append(number)
            yield (number,)

    results = in_order(lambda number: number, each(), threads=2, waiting=4, name="t")
    assert next(results) == 0
    assert len(taken) == 4
    results.close()
    assert len(taken) == 4


def test_the_first_failure_is_raised_and_what_has_not_begun_is_left_out():
    begun, hold = [], threading.Event()

    def work(number):
        begun.append(number)
        if number == 0:
            raise ValueError("broken")
        hold.wait(0.2)

    with pytest.raises(ValueError, match="broken"):
        list(in_order(work, ((n,) for n in range(50)), threads=1, waiting=10, name="t"))
    assert len(begun) < 10


def test_the_threads_inside_a_call_are_given_back():
    before = cv2.getNumThreads()
    assert list(in_order(lambda: cv2.getNumThreads(), [()], threads=1, waiting=1, name="t")) == [1]
    assert cv2.getNumThreads() == before

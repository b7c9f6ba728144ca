"""Waiting in a browser whose page lets no text become a script."""

import time


def until(page, expression, seconds=60.0):
    """Wait for a JavaScript expression to hold, and return what it is then.

    Playwright's own wait has the page evaluate a text, which the policy of the review page forbids.
    """
    end = time.monotonic() + seconds
    while not (found := page.evaluate(expression)):
        assert time.monotonic() < end, f"{expression} did not come to hold in {seconds:g} s"
        page.wait_for_timeout(20)
    return found

"""What several test modules share: a real browser, examples that are the same every time, and a log that no test leaves
quieter than it was."""

import logging
import shutil

import pytest
from hypothesis import settings

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

# The same examples every time, and as long as they take: a machine that is busy with other things is no fault.
settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")


@pytest.fixture(autouse=True)
def _log_as_it_was():
    """A command that was run with -q, be it for several tests, told the log to be quiet; a test may listen to it."""
    logging.getLogger("postfix").setLevel(logging.NOTSET)


@pytest.fixture(scope="session")
def chromium():
    """A running browser; without one the tests that ask for it are skipped."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.skip("no browser on this machine (Debian: apt-get install chromium)")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture
def page(chromium):
    """An empty page 1400 px wide. A test fails if anything on it wrote an error to the console or asked a network."""
    context = chromium.new_context(viewport={"width": 1400, "height": 1000})
    opened, faults = context.new_page(), []
    opened.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.on("request", lambda request: faults.append(request.url) if request.url.startswith("http") else None)
    yield opened
    context.close()
    assert faults == []

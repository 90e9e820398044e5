"""A real browser for tests: Debian's chromium without a screen, driven by selenium.

Where there is none, the tests that need one are skipped; with ``SHUNTBOOK_BROWSER_REQUIRED=1`` they fail instead.
"""

import os
import shutil
import time
from contextlib import contextmanager

import pytest

PATIENCE_S = 60.0
WIDTHS = (360, 768, 1440)
_ARGUMENTS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")


@contextmanager
def browser():
    """Open a browser, and close it again."""
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not driver:
        reason = "there is no chromium with its chromedriver here"
        if os.environ.get("SHUNTBOOK_BROWSER_REQUIRED"):
            pytest.fail(reason)
        pytest.skip(reason)
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in _ARGUMENTS:
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driven = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    try:
        yield driven
    finally:
        driven.quit()


def as_wide_as(driven, width, *, dark=False):
    """Give the page so many pixels, and light or dark."""
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    driven.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    driven.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


def until(condition, what="it"):
    """Wait until something is so, and return what it came to."""
    end = time.monotonic() + PATIENCE_S
    while not (found := condition()):
        assert time.monotonic() < end, f"{what} did not happen"
        time.sleep(0.05)
    return found

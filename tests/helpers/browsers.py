"""A real browser for tests: Debian's chromium without a screen, driven by selenium.

Where there is none, the tests that need one are skipped; with ``SHUNTBOOK_BROWSER_REQUIRED=1`` they fail instead. The
same holds for axe-core, which looks for faults of access: ``SHUNTBOOK_AXE`` names its file, ``SHUNTBOOK_AXE_REQUIRED``.
"""

import atexit
import os
import shutil
import time
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest

PATIENCE_S = 60.0
WIDTHS = (360, 768, 1440)
_ARGUMENTS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")


@contextmanager
def browser(*, watched=False):
    """Give a window of its own, without a cookie, of the browser that all tests of this process share.

    One that is `watched` keeps, in its log ``performance``, all that it asks for: that is dear, with each page.
    """
    driven = _the_browser(watched)
    before = driven.current_window_handle
    driven.switch_to.new_window("window")
    own = driven.current_window_handle
    try:
        yield driven
    finally:
        driven.execute_cdp_cmd("Network.clearBrowserCookies", {})
        driven.switch_to.window(own)
        driven.close()
        driven.switch_to.window(before)
        _forget(driven)


@cache
def _the_browser(watched):
    """Open a browser, which is closed when the process ends."""
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not driver:
        _without("there is no chromium with its chromedriver here", "SHUNTBOOK_BROWSER_REQUIRED")
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in _ARGUMENTS:
        options.add_argument(argument)
    logs = ("browser", "performance") if watched else ("browser",)
    options.set_capability("goog:loggingPrefs", dict.fromkeys(logs, "ALL"))
    driven = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    driven.kept_logs = logs
    atexit.register(driven.quit)
    return driven


def _without(reason, required):
    """Skip a test for want of something, or fail it where that was promised."""
    if os.environ.get(required):
        pytest.fail(reason)
    pytest.skip(reason)


def as_wide_as(driven, width, *, dark=False, height=900, media="", **features):
    """Give the page so many pixels, light or dark, and what else a reader may prefer, such as ``forced_colors``."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
    driven.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    preferred = {"prefers_color_scheme": "dark" if dark else "light"} | features
    told = [{"name": name.replace("_", "-"), "value": value} for name, value in preferred.items()]
    driven.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": told})


def opened(driven, path, width=1440, **how):
    """Open a page afresh, as wide as that; what was logged of pages before it is let go."""
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    as_wide_as(driven, width, **how)
    _forget(driven)
    driven.get(path.as_uri())


def _forget(driven):
    """Let go of what was logged."""
    for log in driven.kept_logs:
        driven.get_log(log)


def faults(driven):
    """Return what the console has, since it was last asked, that is more than a remark."""
    return [entry for entry in driven.get_log("browser") if entry["level"] != "INFO"]


def faults_of_access(driven):
    """Return what axe-core finds serious or critical on the page: its rules, each with the places."""
    path = os.environ.get("SHUNTBOOK_AXE", "")
    if not Path(path).is_file():
        _without("SHUNTBOOK_AXE names no file of axe-core", "SHUNTBOOK_AXE_REQUIRED")
    driven.set_script_timeout(PATIENCE_S)
    driven.execute_script(Path(path).read_text(encoding="utf-8"))
    # What is inside a drawing is one picture to a reader, and thousands of lines to axe.
    run = "axe.run({exclude: ['svg > *']}, {resultTypes: ['violations']}).then(r => arguments[0](r.violations))"
    found = driven.execute_async_script(run)
    return {each["id"]: [node["target"] for node in each["nodes"]][:5] for each in found if _grave(each)}


def _grave(violation):
    return violation["impact"] in {"serious", "critical"}


def until(condition, what="it"):
    """Wait until something is so, and return what it came to."""
    end = time.monotonic() + PATIENCE_S
    while not (found := condition()):
        assert time.monotonic() < end, f"{what} did not happen"
        time.sleep(0.05)
    return found

"""A meter in a real browser: found, watched and captured live without leaving the page; the same with scripts off."""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress

import pytest
from browsers import as_wide_as, browser, faults, faults_of_access, until
from desks import desk, let_in
from meters import metered
from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException

from shuntbook.cli.capture.running import running_captures
from shuntbook.ingest.journal.opening import open_log

pytestmark = [pytest.mark.xdist_group("captures"), pytest.mark.timeout(300)]


@pytest.fixture
def seated(tmp_path):
    """Someone at a desk over an empty folder, in a browser, with a meter of a pump in the network."""
    processes = set()
    with metered() as (meter, port), desk(tmp_path) as client, browser() as driven:
        client.folder = tmp_path
        as_wide_as(driven, 390)  # a phone leaves no room for a button beside the page
        let_in(driven, client)
        faults(driven)  # the page that was refused before
        yield driven, client, meter, port
        processes |= {capture.state.process for capture in running_captures(tmp_path)}
    for process in processes:
        with suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)


def button(driven, text):
    """The button or link that is called so."""
    shown = driven.find_elements("css selector", "button, a")
    return next(each for each in shown if text in each.text)


def press(driven, text):
    """Press it; a page that is loaded again just then has another one of that name."""

    def pressed():
        with suppress(StaleElementReferenceException, StopIteration):
            button(driven, text).click()
            return True
        return False

    until(pressed)


def within(driven, place):
    """The text of a part of the page, which may be renewed at any moment; "" where it is not there yet."""
    with suppress(StaleElementReferenceException, NoSuchElementException):
        return driven.find_element("id", place).text
    return ""


def look(driven, client, port):
    """Look at the meter in the network, and wait for what answers."""
    driven.get(f"{client.origin}/meter")
    driven.find_element("id", "host").send_keys(f"127.0.0.1:{port}")
    driven.find_element("xpath", "//details[.//input[@id='unit-2']]/summary").click()
    driven.find_element("id", "unit-2").send_keys("1\n")
    until(lambda: driven.find_elements("id", "value"))


def take(driven):
    """Find the amps that the display shows, and take the likeliest register, out of the bank."""
    driven.find_element("id", "value").send_keys("74.5 A\n")
    until(lambda: driven.find_elements("name", "candidate"))
    driven.find_element("css selector", "input[value=out]").click()
    driven.find_element("name", "candidate").click()
    until(lambda: "reads amps" in driven.page_source)


def test_from_the_meter_to_the_log_without_a_terminal(seated):
    """Live figures and notes come without loading the page again, and nothing is wrong in the console."""
    driven, client, meter, port = seated
    look(driven, client, port)
    take(driven)
    assert faults_of_access(driven) == {}
    press(driven, "Watch while you switch")
    until(lambda: "Now switch the load" in within(driven, "changes"))
    driven.execute_script("window.same = true")
    meter.switch(False)
    until(lambda: "−21" in within(driven, "changes"))
    assert driven.execute_script("return window.same"), "the page was not loaded again"
    press(driven, "Read it while something runs")
    until(lambda: driven.find_elements("id", "source"))
    driven.find_element("id", "title").send_keys("Open day")
    press(driven, "Start")
    until(lambda: driven.find_elements("id", "figures"))
    until(lambda: "2.10 A" in within(driven, "figures"))
    driven.execute_script("window.same = true")
    meter.switch(True)
    until(lambda: "74.5 A" in within(driven, "figures"))
    driven.find_element("id", "text").send_keys("crates\n")
    until(lambda: "Taken: crates" in within(driven, "notes"))
    press(driven, "demo begins")
    until(lambda: "Taken: demo begins" in within(driven, "notes"))
    assert driven.execute_script("return window.same && document.activeElement.id") == "text"
    assert faults_of_access(driven) == {}
    stage = button(driven, "Stage for the audience").get_attribute("href")
    here = driven.current_window_handle
    driven.switch_to.new_window("tab")
    driven.get(stage)
    until(lambda: "Open day" in driven.find_element("tag name", "body").text)
    driven.switch_to.window(here)
    press(driven, "Stop, and finish")
    until(lambda: "The capture has ended" in driven.page_source)
    assert faults(driven) == []
    (log,) = client.folder.glob("*.parquet")
    assert [text for _, text in open_log(log).meta.markers] == ["crates", "demo begins"]


@pytest.mark.night
def test_it_works_with_scripts_off(seated):
    """A watch is loaded again by itself; notes, figures and the end are plain forms and links."""
    driven, client, meter, port = seated
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    look(driven, client, port)
    take(driven)
    press(driven, "Watch while you switch")
    until(lambda: "Now switch the load" in driven.page_source)
    meter.switch(False)
    until(lambda: "−21" in driven.page_source)
    press(driven, "Read it while something runs")
    until(lambda: driven.find_elements("id", "source"))
    press(driven, "Start")
    until(lambda: driven.find_elements("id", "figures"))
    driven.find_element("id", "text").send_keys("crates\n")
    until(lambda: "Taken: crates" in driven.page_source)
    time.sleep(1)
    press(driven, "Newest figures")
    until(lambda: "2.10" in within(driven, "figures"))
    press(driven, "Stop, and finish")
    until(lambda: "The capture has ended" in driven.page_source)

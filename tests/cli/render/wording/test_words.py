"""Numbers, durations and instants read as people write them, and nothing unknown passes for a number."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from report_scenes import START_US, make_later

from shuntbook.cli.render.wording import checks, clock, numbers

SECOND_US = 1_000_000
# 2026-10-25 00:30:00 UTC: half an hour before the clocks of Europe/London go back (IANA time zone database).
BEFORE_BACK_US = 1_792_888_200 * SECOND_US


def facts(zone="Europe/London", undated=False):
    """As much of a log's facts as an instant needs."""
    return SimpleNamespace(zone=zone, undated=undated)


@pytest.mark.parametrize(
    ("x", "text"),
    [
        (0.0, "0 Ah"),
        (1e-9, "0 Ah"),
        (-1e-9, "0 Ah"),
        (0.01234, "0.0123 Ah"),
        (9.996, "10.0 Ah"),
        (12.345, "12.3 Ah"),
        (-12.345, "−12.3 Ah"),
        (999.4, "999 Ah"),
        (999.6, "1,000 Ah"),
        (1234567.8, "1,234,568 Ah"),
        (None, "unknown"),
        (float("nan"), "unknown"),
        (float("inf"), "unknown"),
    ],
)
def test_amount_has_three_digits_and_a_unit(x, text):
    """Three significant digits, whole from a thousand on; what is not a number is unknown."""
    assert numbers.amount(x, "Ah") == text


@pytest.mark.parametrize(
    ("x", "u95", "text"),
    [
        (13.254, 0.214, "13.25 Ah ± 0.21"),
        (13.254, 0.0996, "13.25 Ah ± 0.10"),
        (31.42, 0.62, "31.4 Ah ± 0.6"),
        (31.42, 0.34, "31.42 Ah ± 0.34"),
        (1325.4, 21.4, "1,325 Ah ± 21"),
        (1325.4, 214.0, "1,330 Ah ± 210"),
        (1325.4, 950.0, "1,330 Ah ± 950"),
        (13.254, None, "13.3 Ah"),
        (13.254, float("nan"), "13.3 Ah"),
        (None, 0.2, "unknown"),
    ],
)
def test_value_and_interval_end_at_the_same_digit(x, u95, text):
    """The interval has two significant digits (GUM, JCGM 100:2008, 7.2.6) and the value as many places."""
    assert numbers.plus_minus(x, u95, "Ah") == text


@pytest.mark.parametrize(
    ("length_s", "text"),
    [
        (0, "0 s"),
        (0.25, "0.25 s"),
        (4.2, "4.2 s"),
        (9.96, "10 s"),
        (13.4, "13 s"),
        (59.6, "1 min"),
        (72, "1 min 12 s"),
        (65, "1 min 05 s"),
        (3599.6, "1 h"),
        (7500, "2 h 05 min"),
        (86_400, "1 d"),
        (273_600, "3 d 04 h"),
        (None, "unknown"),
        (float("nan"), "unknown"),
    ],
)
def test_duration_has_its_two_largest_units(length_s, text):
    """A length of time is said with at most two units and never with sixty of one."""
    assert numbers.duration(length_s) == text


@pytest.mark.parametrize(
    ("ratio", "text"), [(0.0, "0 %"), (0.034, "3.4 %"), (0.345, "34 %"), (1.0, "100 %"), (None, "unknown")]
)
def test_percent(ratio, text):
    """Small shares keep one decimal."""
    assert numbers.percent(ratio) == text


def test_counted_knows_one_from_many():
    """One start, no starts, 1,200 starts."""
    assert numbers.counted(1, "start") == "1 start"
    assert numbers.counted(0, "start") == "0 starts"
    assert numbers.counted(1200, "start") == "1,200 starts"


def test_clock_is_local_and_leaves_out_a_date_on_show():
    """An instant is shown in the log's zone; its date only where it is another day than the one on show."""
    noon_us = 1_781_006_400 * SECOND_US  # 2026-06-09 12:00:00 UTC
    assert clock.clock(noon_us, facts()) == "9 Jun 2026 13:00:00"
    assert clock.clock(noon_us, facts(), near_us=noon_us - 3600 * SECOND_US) == "13:00:00"
    assert clock.clock(noon_us, facts(), near_us=noon_us - 86_400 * SECOND_US) == "9 Jun 2026 13:00:00"
    assert clock.clock(noon_us, facts("UTC+05:30")) == "9 Jun 2026 17:30:00"
    assert clock.clock(noon_us, facts("-03:00")) == "9 Jun 2026 09:00:00"
    assert clock.clock(None, facts()) == "unknown"


def test_the_hour_that_comes_twice_is_told_apart():
    """When the clocks go back, 01:30 comes twice; each says how far it is before UTC."""
    assert clock.clock(BEFORE_BACK_US, facts()) == "25 Oct 2026 01:30:00 UTC+01:00"
    assert clock.clock(BEFORE_BACK_US + 3600 * SECOND_US, facts()) == "25 Oct 2026 01:30:00 UTC+00:00"


@pytest.mark.parametrize(
    ("x", "u95", "decimals", "shown"),
    [
        (0.0004, 0.00001, 3, ("0.000", "0.001")),  # never less than it is
        (0.0619, 0.0009, 3, ("0.062", "0.001")),
        (0.654, 0.0113, 3, ("0.654", "0.011")),
        (9.9994, 0.08, 3, ("9.999", "0.080")),
        (9.9996, 0.08, 3, ("10.00", "0.08")),
        (31.42, 0.6, 3, ("31.42", "0.60")),
        (31.42, 3.1, 3, ("31.4", "3.1")),  # none beyond the interval's second digit
        (1234.6, 21.0, 3, ("1,235", "21")),
        (0.654, None, 2, ("0.65", "")),
    ],
)
def test_a_figure_that_grows_keeps_its_width(x, u95, decimals, shown):
    """So many decimals below ten, one less for each digit more, and no more than its interval warrants."""
    assert numbers.steady(x, u95, decimals) == shown


@pytest.mark.parametrize("zone", ["", "Nowhere/Land", "../etc", "Europe", "\x00"])
def test_unknown_zone_is_shown_as_utc_and_called_so(zone):
    """A zone this computer does not know is not shown under its own name."""
    assert clock.zone_of(facts(zone))[0] == "UTC"
    assert clock.clock(1_781_006_400 * SECOND_US, facts(zone)) == "9 Jun 2026 12:00:00"


def test_undated_log_counts_from_its_start():
    """Without dates an instant is a time since the log's start."""
    assert clock.clock(3725 * SECOND_US, facts(undated=True)) == "+1:02:05"
    assert clock.clock(0, facts(undated=True)) == "+0:00:00"


def test_shortened_text_can_do_no_harm():
    """Control signs are replaced, long text is cut, and right-to-left text is set apart."""
    assert numbers.shortened("a\tb\x07c") == "a b\ufffdc"
    assert numbers.shortened("x" * 100, 10) == "x" * 9 + "…"
    assert numbers.shortened("a בית 5 קטן: 3 b") == "a \u2068בית 5 קטן\u2069: 3 b"
    assert numbers.shortened("\u2067בית") == "\u2068בית\u2069"
    assert "\u202e" not in numbers.shortened("a\u202eb")


@pytest.mark.parametrize("text", ["pump", "a בית 5 b", "בית", "\u2066a", "\x00\u202eبئر 3", "x" * 700])
def test_shortened_text_is_not_shortened_again(text):
    """A sentence may hold a name that went through already: it comes out as it is."""
    once = numbers.shortened(text, 600)
    assert numbers.shortened(once, 600) == once


def test_a_finding_in_few_words_counts_starts_as_its_sentences_do():
    """What was crossed stands first; what may be left out comes apart; on a quiet day an hour says nothing."""
    finding = make_later().findings[1]
    often = replace(finding, title="The pump starts too often and runs too briefly")
    starts_us = [START_US + 120 * SECOND_US * k for k in range(50)]
    averaged = replace(often, plain="The pump starts 25 times an hour. It should be at most 12 on average.")
    words = checks.in_few_words(averaged, starts_us, [13.0] * 50, 2.0)
    assert words == ("too often, too briefly: 25 starts an hour", ", 13 s each")
    busiest = replace(often, plain="The pump started 30 times in one hour. It should be at most 20.")
    words = checks.in_few_words(busiest, starts_us, [13.0] * 50, 2.0)
    assert words == ("too often, too briefly: 30 starts in one hour", ", 13 s each")
    # A log shorter than an hour, or a day of which less was measured, holds no hour to count them in.
    few_us = starts_us[:9]
    assert checks.in_few_words(busiest, few_us, [13.0] * 9, 0.3)[0] == "too often, too briefly: 9 starts in 16 min"
    assert checks.in_few_words(busiest, few_us[:1], [13.0], 0.3)[0] == "too often, too briefly: 1 start"
    often = replace(finding, title="The pump starts too often")
    assert checks.in_few_words(often, starts_us[:1], [13.0], 24.0) == ("too often: 1 start", "")
    proved = replace(often, plain="The pump started at least 96 times in one hour. It should be at most 20.")
    assert checks.in_few_words(proved, starts_us[:1], [13.0], 24.0) == ("too often: at least 96 starts in one hour", "")
    proved = replace(often, plain="The pump starts at least 400 times a day. It should be at most 300.")
    assert checks.in_few_words(proved, starts_us[:1], [13.0], 24.0) == ("too often: at least 400 starts a day", "")
    briefly = replace(finding, title="The pump runs too briefly")
    assert checks.in_few_words(briefly, starts_us, [13.0] * 50, 2.0) == ("too briefly: 13 s each", "")
    dry = replace(finding, code="prime_lost")
    assert checks.in_few_words(dry, starts_us[:1], [13.0], 2.0) == ("draws too little: no water?", "")

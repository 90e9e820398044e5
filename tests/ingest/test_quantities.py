"""Units, and cells to numbers."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.durations import seconds
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.amounts.number_forms import find_form
from shuntbook.ingest.exports.amounts.numbers import NULLS, NumberForm, to_numbers
from shuntbook.ingest.log.arrow import strings
from shuntbook.ingest.quantities import (
    ALIASES,
    OF_DIMENSION,
    QUANTITIES,
    UNITS,
    UnknownUnitError,
    find_unit,
    scaled,
    unit_of,
)


def canonical(x: float, symbol: str) -> float:
    """Convert one number."""
    return float(find_unit(symbol).to_canonical(np.array([x]))[0])


@pytest.mark.parametrize(
    ("x", "unit", "expected"),
    [
        (1234.5, "mA", 1.2345),  # definitions of the SI prefixes
        (0.1, "mV", 1e-4),
        (3, "uA", 3e-6),
        (1.5, "kW", 1500),
        (2, "MWh", 2e6),
        (3600, "As", 1.0),  # 1 Ah = 3600 C: definition
        (3.6, "MJ", 1000.0),  # 1 kWh = 3.6 MJ: definition
        (32, "degF", 0.0),  # freezing and boiling point of water: common practice
        (212, "°F", 100.0),
        (273.15, "K", 0.0),  # SI brochure: definition of degree Celsius
        (1, "psi", 6.894757293168),  # NIST SP 811, appendix B.8
        (1, "bar", 100.0),
        (1, "gpm", 3.785411784),  # NIST SP 811, appendix B.8
        (3, "m3/h", 50.0),
    ],
)
def test_conversions(x, unit, expected):
    """Each to the double nearest to the true value, or next to it."""
    assert abs(canonical(x, unit) - expected) <= 2 * math.ulp(expected)


@given(st.integers(min_value=-(10**9), max_value=10**9))
def test_milli_is_exact_to_the_nearest_double(n):
    """Scaling down divides: n mA is the double nearest to n/1000 A."""
    assert canonical(n, "mA") == n / 1000


@pytest.mark.parametrize("symbol", [*UNITS, *ALIASES])
def test_every_unit_and_alias_is_found(symbol):
    """In its own spelling, with blanks around."""
    assert find_unit(f" {symbol} ").symbol in UNITS


@pytest.mark.parametrize(("text", "choices"), [("mw", "mW or MW"), ("MWH", "mWh or MWh"), ("ma", None), ("KWH", None)])
def test_case_decides_only_where_one_unit_can_be_meant(text, choices):
    """``mw`` could be two; ``ma`` and ``KWH`` but one."""
    if choices is None:
        assert find_unit(text).symbol in ("mA", "kWh")
    else:
        with pytest.raises(UnknownUnitError, match=choices):
            find_unit(text)


def test_every_quantity_ends_in_its_unit():
    """The canonical unit changes nothing."""
    for quantity, dimension in QUANTITIES.items():
        unit = unit_of(quantity, None, column="x")
        assert unit.dimension == dimension
        assert unit.to_canonical(np.array([1.25]))[0] == 1.25
    assert set(OF_DIMENSION.values()) == {q for q, d in QUANTITIES.items() if d != "ratio"}


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [
        ("power_factor", "%", 0.01),
        ("power_factor", "1", 1),
        ("state_of_charge_pct", "1", 100),
        ("state_of_charge_pct", "%", 1),
    ],
)
def test_ratios(quantity, unit, factor):
    """A state of charge is kept in percent, a power factor as a number."""
    assert unit_of(quantity, unit, column="x").to_canonical(np.array([0.5]))[0] == pytest.approx(
        0.5 * factor, rel=1e-15
    )


@pytest.mark.parametrize(("quantity", "unit"), [("current_A", "V"), ("current_A", "zork"), ("power_factor", "V")])
def test_a_wrong_unit_names_the_column(quantity, unit):
    """And the unit that was found."""
    with pytest.raises(InputError, match=f"'Pump'.*'{unit}'"):
        unit_of(quantity, unit, column="Pump")


FORMS = {
    ".": (NumberForm("."), lambda x: x),
    ",": (NumberForm(","), lambda x: x.replace(".", ",")),
    "suffix": (NumberForm(".", suffix="A"), lambda x: x + " A"),
    "suffix with comma": (NumberForm(",", suffix="A"), lambda x: x.replace(".", ",") + "A"),
}
FLOATS = st.floats(allow_nan=False, allow_infinity=False, width=64)


@pytest.mark.parametrize("form", FORMS)
@given(xs=st.lists(FLOATS, min_size=1, max_size=20))
def test_any_float_comes_back_to_the_bit(form, xs):
    """Written with all its digits, in any dress."""
    how, dress = FORMS[form]
    got = to_numbers(strings([dress(repr(x)) for x in xs]), how)
    assert not got.bad.any()
    assert got.values.tobytes() == np.array(xs).tobytes()


@pytest.mark.parametrize("form", FORMS)
@given(xs=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20), places=st.integers(1, 9))
def test_fixed_decimals_come_back(form, xs, places):
    """As the float that the printed decimals stand for."""
    how, dress = FORMS[form]
    texts = [f"{x:.{places}f}" for x in xs]
    got = to_numbers(strings([dress(text) for text in texts]), how)
    assert got.values.tolist() == [float(text) for text in texts]


@given(n=st.integers(-(10**12), 10**12), mark=st.sampled_from([",", ".", " ", "'", "’", "\u00a0", "\u202f"]))
def test_grouped_thousands(n, mark):
    """Whatever mark parts the groups."""
    form = NumberForm(",") if mark == "." else NumberForm(".", grouped=True)
    got = to_numbers(strings([f"{n:,}".replace(",", mark)]), form)
    assert got.values.tolist() == [n]


@pytest.mark.parametrize("cell", NULLS)
def test_missing_readings(cell):
    """Are no reading and no error, also beside a cell that needs care."""
    got = to_numbers(strings([cell, "+1.5", " 2 ", None]), NumberForm())
    assert np.isnan(got.values[[0, 3]]).all()
    assert got.values[1:3].tolist() == [1.5, 2.0]
    assert not got.bad.any()


@pytest.mark.parametrize(
    ("cells", "others", "expected"),
    [
        (["1.5", "2"], [], NumberForm(".")),
        (["1,5", "2"], [], NumberForm(",")),
        (["1,234.5"], [], NumberForm(".", grouped=True)),
        (["1.234,5"], [], NumberForm(",")),
        (["0,125", "0,250"], [], NumberForm(",")),  # groups do not begin with 0
        (["1,234,567"], [], NumberForm(".", grouped=True)),
        (["1.234.567"], [], NumberForm(",")),
        (["1,234"], ["12,5"], NumberForm(",")),
        (["1,234"], ["12.5"], NumberForm(".", grouped=True)),
        (["1.234"], ["12,5"], NumberForm(",")),
        (["7"], ["12,5"], NumberForm(",")),
        (["12.5 A", "13 A"], [], NumberForm(".", suffix="A")),
        (["12,5 mA"], [], NumberForm(",", suffix="mA")),
        ([], [], NumberForm(".", open=True)),
    ],
)
def test_the_form_of_a_column(cells, others, expected):
    """From its own cells first, then from the table's."""
    assert find_form(cells, [*others, *cells], column="I") == expected


@pytest.mark.parametrize(
    ("cells", "words"), [(["1,234"], "--decimal comma or --decimal point"), (["1.5 A", "950 V"], "different units")]
)
def test_what_the_cells_leave_open(cells, words):
    """Is not guessed."""
    with pytest.raises(InputError, match=words):
        find_form(cells, cells, column="I")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("150s", 150),
        ("15m", 900),
        ("1h30m", 5400),
        ("0:02:30", 150),
        ("2:30", 150),
        ("1.5 h", 5400),
        ("1 h 30 m", 5400),
        ("250ms", 0.25),
        ("1d", 86400),
    ],
)
def test_lengths_of_time(text, expected):
    """As a person writes them. [s]."""
    assert seconds(text, what="--gap") == expected


@pytest.mark.parametrize("text", ["", "0", "-5s", "5 parsecs", "1h 2x", "s", "0s", "1 000s", "5 5", "1h 30", "9" * 400])
def test_no_length_of_time(text):
    """The option is named, and how to write it."""
    with pytest.raises(InputError, match=r"--gap: .*150s"):
        seconds(text, what="--gap")


@pytest.mark.parametrize("option", ["--for", "--every", "--gap"])
@pytest.mark.parametrize("text", ["15", "1.5", " 90 "])
def test_a_number_alone_is_asked_for_its_unit(option, text):
    """15 may be minutes as well as seconds, and a demo is not repeated for that."""
    number = text.strip()
    with pytest.raises(InputError, match=f"^{option}: '{text}' has no unit; write {number}s .*{number}m for minutes"):
        seconds(text, what=option)


@given(
    st.integers(-(2**31), 2**32 - 1),
    st.integers(1, 1000),
    st.integers(-9, 0),
    st.integers(-100_000, 100_000),
    st.integers(-3, 0),
)
def test_a_scale_gives_the_decimal_that_is_meant(raw, figure, exponent, offset, places):
    """Of any register: the number nearest to the decimal product, with the digits that the scale has and no other."""
    scale, add = Decimal(figure).scaleb(exponent), Decimal(offset).scaleb(places)
    if abs(add / min(scale, Decimal(1))) > 10**9:
        return  # no meter adds what its own readings vanish beside
    meant = float(raw * scale + add)
    assert scaled(raw, float(scale), float(add)) == meant
    assert scaled(np.array([raw], dtype=float), float(scale), float(add))[0] == meant


@pytest.mark.parametrize(("raw", "scale", "read"), [(1195, 0.01, 11.95), (643, 0.1, 64.3), (3, -0.1, -0.3)])
def test_a_product_with_an_inexact_factor_is_not_what_is_read(raw, scale, read):
    """As such a product would be for the first: 11.950000000000001."""
    assert scaled(raw, scale) == read


@given(st.floats(-1e6, 1e6), st.floats(1e-18, 1e18))
def test_any_other_factor_multiplies(x, scale):
    """Also one that is no plain decimal, such as a third."""
    assert scaled(x, scale) == pytest.approx(x * scale, rel=1e-14)

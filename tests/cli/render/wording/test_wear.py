"""What a log takes of the bank's life, in words; no share and no cost without its maker's figures."""

from types import SimpleNamespace

import pytest

from shuntbook.analysis.bank.wear import BankLife, StretchWear, Wear
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.render.wording.wear import wear_sentences, worn, worn_cells

LOG = SimpleNamespace(ledger=SimpleNamespace(days=(), demos=(SimpleNamespace(text="crates"),)))


def stretch(*, life=True, cost=True, depth_pct=12.5, currency="GBP"):
    """A fiftieth of a cycle."""
    share, price = Within(0.0033, 0.003, 0.0036), Within(0.05, 0.045, 0.055)
    return StretchWear(
        Within(0.02, 0.018, 0.022), depth_pct, share if life else None, price if cost else None, currency
    )


def wear(of):
    """A log and its one demo."""
    known = of.life_pct is not None
    life = BankLife(600.0, "bank.cycle_life", ()) if known else Missing("share of the bank's life")
    return Wear(of, (of,), life, 1, 12.5, ())


@pytest.mark.parametrize(
    ("of", "text"),
    [
        (stretch(), "0.0200 full cycles, down 12.5 % at most, 0.00330 % of its life by its maker, 0.0500 GBP"),
        (stretch(cost=False), "0.0200 full cycles, down 12.5 % at most, 0.00330 % of its life by its maker"),
        (stretch(life=False, cost=False), "0.0200 full cycles, down 12.5 % at most"),
        (stretch(life=False, cost=False, depth_pct=None), "0.0200 full cycles"),
        (StretchWear(None, None, None, None, None), "unknown"),
    ],
)
def test_as_much_is_told_as_is_known(of, text):
    """Cycles and depth as measured, then the maker's part."""
    assert worn(of) == text


def test_a_demo_is_told_of_where_its_share_is_known():
    """One sentence for the log, one for each demo; without the maker's figures the first alone."""
    assert [text[:12] for text in wear_sentences(LOG, wear(stretch()))] == ["Wear of the ", "“crates” too"]
    assert len(list(wear_sentences(LOG, wear(stretch(life=False, cost=False))))) == 1
    assert list(wear_sentences(LOG, wear(StretchWear(None, None, None, None, None)))) == []


def test_a_currency_is_the_owners_text_and_harms_nothing():
    """Cut short, and without what a terminal would obey."""
    cells = worn_cells(stretch(currency="\x1b[31mGBP"))
    assert cells[:3] == ("0.0200", "12.5 %", "0.00330 %")
    assert "\x1b" not in cells[3]

"""Results that are left out say why, and what to add."""

from shuntbook.analysis.not_known import Missing


def test_what_is_missing_is_said_with_its_key():
    """The sentence names what is left out, why, and the key to add."""
    assert Missing("runtime", ("bank.usable_depth_pct",)).sentence == (
        "No runtime; add bank.usable_depth_pct to the site file."
    )
    assert Missing("state of charge", because="its voltage is flat").sentence == (
        "No state of charge: its voltage is flat."
    )

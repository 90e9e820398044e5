"""Which glimpses become values: what holds, what jumps, what was half covered or flickered."""

import pytest

from shuntbook.ingest.film.display import FieldEntry, ShownInTurn
from shuntbook.ingest.film.field_reader import Glimpse
from shuntbook.ingest.film.patterns import GLYPHS, UsualForms, is_part_of
from shuntbook.ingest.film.seen import Seen
from shuntbook.ingest.film.stands import FrameJudge

APART_S = 1 / 15
FIELD = FieldEntry(corners=[[0, 0], [40, 0], [40, 10], [0, 10]], digits=4, decimals=1, unit="A")


def judged(*stretches, apart_s=APART_S, field=FIELD, strays=0.1):
    """Return the value of each frame, or its reason, of stretches of glyphs and how many frames show them."""
    judge, seen, k = FrameJudge(field, apart_s), [], 0
    for glyphs, frames in stretches:
        for _ in range(frames):
            glimpse = Glimpse(glyphs, -1, "is not clear" if "?" in glyphs else "", (1.0,) * 4, (strays,) * 4)
            seen += judge.add(Seen(k + 1, k * apart_s, glimpse))
            k += 1
    seen += judge.end()
    assert [s.number for s in seen] == list(range(1, k + 1))
    return [s.reason if s.figure is None else s.figure.value for s in seen]


def test_what_stands_is_taken():
    """A value and the one after it, to the frame."""
    assert judged((" 251", 30), (" 745", 30)) == [25.1] * 30 + [74.5] * 30


def test_a_long_film_gives_the_same_as_its_parts():
    """Judged some seconds late, each frame once."""
    parts = [(" 251", 200), ("????", 40), (" 251", 160), (" 252", 300)]
    values = judged(*parts)
    assert values[:200] == [25.1] * 200
    assert values[240:400] == [25.1] * 160
    assert values[400:] == [25.2] * 300
    assert values[200:240] == ["is not clear"] * 40


def test_a_mixture_of_two_values_is_none():
    """While the display changes, one digit is still the old one."""
    values = judged((" 251", 30), (" 741", 3), (" 745", 30))
    assert values[:30] + values[33:] == [25.1] * 30 + [74.5] * 30
    assert all("changed" in reason for reason in values[30:33])


def test_a_jump_must_stand():
    """What comes for a moment and goes back is no reading; a start's surge stands longer."""
    assert all("moment" in str(reason) for reason in judged((" 251", 30), (" 961", 3), (" 251", 30))[30:33])
    assert judged((" 251", 30), (" 961", 6), (" 251", 30))[30:36] == [96.1] * 6


def test_a_small_change_need_not_stand_as_long():
    """The last digit may change at each look."""
    assert judged((" 251", 30), (" 252", 3), (" 251", 30))[30:33] == [25.2] * 3


def test_two_frames_are_too_few():
    """Whatever they show."""
    assert all("few" in reason for reason in judged((" 251", 30), (" 252", 2), (" 253", 30))[30:32])


@pytest.mark.parametrize("part", ["  51", " 2 1", " 151", " 25 "])
def test_a_part_of_a_digit_between_whole_ones_is_a_flicker(part):
    """A segment or a digit that was dark while the frame was taken."""
    if part == " 151":
        assert judged((" 751", 30), (part, 3), (" 751", 30)) == [75.1] * 63
    else:
        assert judged((" 251", 30), (part, 3), (" 251", 30)) == [25.1] * 63


@pytest.mark.parametrize(("beside", "is_read"), [(" 25?", False), (" 251", True)])
def test_an_edge_that_looks_like_a_segment_is_none(beside, is_read):
    """A hand's shadow over a 1 makes a 7 of it, until it goes on; a 7 that the display shows comes clearly."""
    values = judged((" 251", 30), (" 257", 6), (beside, 1), (" 251", 30))
    assert (25.7 in values) is is_read
    assert set(values[:30] + values[37:]) == {25.1}


def test_a_digit_lost_beside_frames_that_were_covered_is_not_believed():
    """A hand may cover the first digit for a while; where it stays long, something else must be seen of it."""
    values = judged((" 745", 45), ("????", 8), ("  45", 30), ("????", 8), (" 745", 45))
    assert all("fewer digits" in reason for reason in values[53:83])
    assert values[:45] == values[91:] == [74.5] * 45


def test_a_load_that_stops_while_the_display_is_covered_is_seen_once_it_stands():
    """Nothing is in the way any more."""
    values = judged((" 745", 45), ("????", 8), ("  23", 90))
    assert values[53:] == [2.3] * 90


@pytest.mark.parametrize("rest", [("  45", 90), ("  46", 45), ("  44", 45)])
def test_what_is_left_of_a_value_is_not_believed_however_long_it_stands(rest):
    """The last digits go on as before: the first one is covered, though nothing of the hand is to be seen."""
    rests = [rest] if rest[1] == 90 else [rest, ("  45", 45)]
    values = judged((" 745", 45), ("????", 8), *rests, ("????", 8), (" 745", 45))
    assert all("fewer digits" in reason for reason in values[53:143])
    assert values[:45] == values[-45:] == [74.5] * 45


@pytest.mark.parametrize(("idle", "is_read"), [("  45", True), ("  48", True), ("  49", False), ("  51", False)])
def test_what_stood_before_a_load_ran_is_believed_after_it(idle, is_read):
    """A pump that stops leaves what was there before, though its digits are those of the rest of 74.5 A by chance."""
    values = judged((idle, 60), ("????", 8), (" 931", 8), (" 745", 90), ("????", 8), ("  45", 90))
    assert {value == 4.5 for value in values[-90:]} == {is_read}
    # The other way round as well: what a film begins with is believed by what it shows later.
    values = judged(("  45", 90), ("????", 8), (" 745", 90), (" 931", 8), ("????", 8), (idle, 60))
    assert {value == 4.5 for value in values[:90]} == {is_read}


@pytest.mark.parametrize("frames", [60, 140])
def test_a_hand_that_rests_before_the_first_digit_while_the_load_changes_is_told_as_it_goes(frames):
    """The digits that are left do not go on where they were; what came and went with the hand is not believed."""
    values = judged((" 745", 45), ("????", 8), ("  31", frames), ("????", 8), (" 682", 45))
    assert all("fewer digits" in reason for reason in values[53 : 53 + frames])
    assert values[:45] == [74.5] * 45 and values[-45:] == [68.2] * 45


def test_a_hand_that_goes_too_fast_to_be_seen_is_told_by_what_was_under_it():
    """Its last digits go on."""
    values = judged((" 745", 45), ("????", 8), ("  31", 60), (" 731", 45))
    assert all("fewer digits" in reason for reason in values[53:113])
    assert values[113:] == [73.1] * 45


@pytest.mark.parametrize(("bright", "is_read"), [(0.98, False), (0.05, True)])
def test_a_digit_that_is_never_clear_is_not_dark_between(bright, is_read):
    """It flickers in step with the camera: dark in two frames, lit in the third, though not wholly."""
    judge, seen = FrameJudge(FIELD, APART_S), []
    for k in range(60):
        glyphs, light = ("?555", bright) if k % 3 == 0 else (" 555", 0.01)
        seen += judge.add(Seen(k + 1, k * APART_S, Glimpse(glyphs, -1, "", (light, 1.0, 1.0, 1.0), (0.1,) * 4)))
    assert {s.figure is not None for s in (seen + judge.end())[3:57]} == {is_read}


@pytest.mark.parametrize(("rest", "is_read"), [(" 144", False), (" 244", True)])
def test_a_hand_that_comes_and_goes_between_two_frames_is_told_by_what_goes_on(rest, is_read):
    """A value's first digit is away while the others waver on; a load that stops shows something else."""
    values = judged(("3161", 20), (rest, 6), ("????", 1), ("3138", 20))
    assert {value == float(rest) / 10 for value in values[20:26]} == {is_read}
    assert values[:20] == [316.1] * 20 and values[27:] == [313.8] * 20


@pytest.mark.parametrize(("first", "values"), [(30, [3.1] * 30), (20, [3.1] * 20), (10, None)])
def test_a_film_that_begins_with_few_digits_had_no_more(first, values):
    """Unless it begins with a hand that goes."""
    seen = judged(("  31", first), ("????", 12), (" 745", 45))
    assert values == seen[:first] if values else all("fewer digits" in reason for reason in seen[:first])


def test_a_slow_display_does_not_hide_a_load_that_stops_and_starts():
    """Each change is unclear for as long as it takes."""
    values = judged((" 745", 45), (" ???", 4), ("  31", 60), ("????", 4), (" 682", 45))
    assert values[49:109] == [3.1] * 60


def test_a_last_digit_that_wavers_makes_no_half_covered_value_believed():
    """Each value stands beside one that has as few digits."""
    rests = [("  41", 10), ("  52", 10), ("  41", 10)]
    values = judged((" 745", 45), ("????", 8), *rests, ("????", 8), (" 745", 45))
    assert all("fewer digits" in reason for reason in values[53:83])


def test_a_minus_that_is_lost_beside_frames_that_were_covered_is_not_believed():
    """Half a second of 4.5 A the other way would be wrong by twice as much."""
    field = FIELD.model_copy(update={"signed": True})
    values = judged((" -45", 45), ("????", 8), ("  45", 30), ("????", 8), (" -45", 45), field=field)
    assert all("fewer digits" in reason for reason in values[53:83])
    assert values[:45] == [-4.5] * 45


def test_a_slow_display_that_shows_what_two_values_share_shows_none():
    """Of a 7 that becomes a 4 the top goes out before the left lights: that is a 1 for a moment."""
    values = judged((" 257", 30), (" 251", 6), (" 25?", 5), (" 254", 30))
    assert all("changed" in reason for reason in values[30:36])
    assert judged((" 257", 30), (" 251", 15), (" 25?", 2), (" 254", 30))[30:45] == [25.1] * 15


@pytest.mark.parametrize(("point", "value"), [(2, 25.1), (-1, 25.1), (None, 25.1), (1, None)])
def test_a_point_that_stands_elsewhere_than_the_profile_says_is_told(point, value):
    """A display that changes its range would be read ten times too large; one whose point is not seen is no matter."""
    judge, seen = FrameJudge(FIELD, APART_S), []
    for k in range(60):
        seen += judge.add(Seen(k + 1, k * APART_S, Glimpse(" 251", point, "", (1.0,) * 4)))
    seen += judge.end()
    assert {s.figure and s.figure.value for s in seen} == {value}
    assert value or "after digit 2; by the profile it is after digit 3" in seen[0].reason


def test_a_form_that_the_display_does_not_have_is_odd():
    """A 9 whose middle is hidden looks like a 7 with a hook; where sevens have none it is not taken."""
    hooked, plain = (next(b for b in GLYPHS if GLYPHS[b] == "7" and bool(b & 32) is hook) for hook in (True, False))
    forms = UsualForms()
    assert not any(forms.is_odd("7", plain) for _ in range(30))
    assert forms.is_odd("7", hooked)
    assert not forms.is_odd("7", plain) and not forms.is_odd("8", 127)
    assert not any(UsualForms().is_odd("7", hooked) for _ in range(3))


@pytest.mark.parametrize("still", [" 951", " 252", "  51", " 151", " 255"])
def test_a_clear_still_needs_no_neighbours(still):
    """Minutes apart, a load comes and goes between two: a part of what stood before, or a mixture, is a value too."""
    for strays in (0.1, 0.2):
        values = judged((" 751", 4), (still, 1), (" 255", 4), apart_s=60.0, strays=strays)
        assert values == [75.1] * 4 + [float(still) / 10] + [25.5] * 4


def test_a_still_that_is_less_clear_must_go_with_its_neighbours():
    """One whose segments are half lit may show what never stood there."""
    values = judged((" 251", 4), (" 951", 1), (" 252", 4), apart_s=5.0, strays=0.3)
    assert values[:4] + values[5:] == [25.1] * 4 + [25.2] * 4
    assert "moment" in values[4]
    assert judged((" 251", 1), (" 252", 1), (" 253", 1), apart_s=5.0, strays=0.3) == [25.1, 25.2, 25.3]


def test_a_still_waits_for_those_after_it():
    """What came and went with a hand is not believed, though stills are half a minute of them later."""
    values = judged((" 745", 9), ("????", 2), ("  31", 6), ("????", 2), (" 682", 9), apart_s=5.0, strays=0.3)
    assert all("fewer digits" in reason for reason in values[11:17])
    assert values[:9] + values[19:] == [74.5] * 9 + [68.2] * 9


@pytest.mark.parametrize(("unread", "is_near"), [(1, True), (2, False)])
def test_what_shows_for_a_moment_is_held_against_what_is_near_in_time(unread, is_near):
    """One still alone, less clear: those three stills before and after it tell no more what may have stood then."""
    values = judged((" 251", 4), ("????", unread), (" 255", 1), ("????", unread), (" 251", 4), apart_s=2.0, strays=0.3)
    assert values[4 + unread] == 25.5 if is_near else "moment" in values[4 + unread]


def test_frames_in_which_something_else_is_read_hide_a_digit_as_well():
    """A hand before it looks like digits, other ones in each frame."""
    odd = [(glyphs, 1) for glyphs in ("3627", "6283", "9352", "2936", "5629", "8263", "6952", "3295")]
    values = judged((" 745", 45), *odd, ("  23", 30), *odd, (" 745", 45))
    assert all("fewer digits" in reason for reason in values[53:83])


@pytest.mark.parametrize(("of_ten", "value"), [(6, 25.1), (7, None)])
def test_a_point_that_most_frames_show_stands_there(of_ten, value):
    """Elsewhere than the profile says: six in ten frames may have taken a speck for it, seven have not."""
    judge, seen = FrameJudge(FIELD, APART_S), []
    for k in range(60):
        point = 1 if k % 10 < of_ten else None
        seen += judge.add(Seen(k + 1, k * APART_S, Glimpse(" 251", point, "", (1.0,) * 4)))
    assert {s.figure and s.figure.value for s in seen + judge.end()} == {value}


def test_amps_and_volts_in_turn_are_kept_apart():
    """Each is held against its own neighbours; what lies in neither range is neither."""
    ranges = [{"unit": "A", "decimals": 1, "between": [0, 9.9]}, {"unit": "V", "decimals": 1, "between": [20, 60]}]
    field = FieldEntry(corners=FIELD.corners, digits=4, in_turn=[ShownInTurn(**one) for one in ranges])
    judge, seen = FrameJudge(field, APART_S), []
    for k, glyphs in enumerate(
        glyphs for text in ("  43", " 251", "  44", " 252", " 150", "  44") for glyphs in [text] * 30
    ):
        seen += judge.add(Seen(k + 1, k * APART_S, Glimpse(glyphs, -1, "", (1.0,) * 4)))
    seen += judge.end()
    told = [(s.figure.quantity, s.figure.value) if s.figure else None for s in seen[::30]]
    amps, volts = [("current_A", x) for x in (4.3, 4.4, 4.4)], [("voltage_V", x) for x in (25.1, 25.2)]
    assert told == [amps[0], volts[0], amps[1], volts[1], None, amps[2]]
    assert "ranges" in seen[-40].reason


def test_every_figure_has_patterns_of_its_own():
    """No pattern stands for two figures; parts are told."""
    assert set("0123456789- ") <= set(GLYPHS.values())
    assert is_part_of("1", "7") and is_part_of("3", "9") and is_part_of(" ", "8")
    assert not is_part_of("7", "1") and not is_part_of("2", "5") and not is_part_of("8", "8")


def by_rows(texts, dark=()):
    """Return the value of each frame of a display that flickers; digits in these places and frames have no light."""
    judge, seen = FrameJudge(FIELD, APART_S), []
    for k, text in enumerate(texts):
        is_dark = [place in dark and (k + place) % 6 < 3 for place in range(4)]
        glyphs = "".join(" " if away else glyph for glyph, away in zip(text, is_dark, strict=True))
        light = tuple(0.0 if glyph == " " else 1.0 for glyph in glyphs)
        seen += judge.add(Seen(k + 1, k * APART_S, Glimpse(glyphs, None, "", light, (0.1,) * 4, flickers=True)))
    return [s.figure and s.figure.value for s in seen + judge.end()]


def test_digits_that_are_dark_by_turns_are_filled_in():
    """Each is read in every other three frames; a first digit that goes out is out once light would have come back."""
    values = by_rows(["7251"] * 45 + [" 436"] * 60, dark=range(4))
    assert values[6:40] == [725.1] * 34 and values[-50:-5] == [43.6] * 45
    assert set(values) == {None, 725.1, 43.6} and values[45] is None


def test_a_figure_that_is_a_part_of_those_about_it_counts_where_light_shows_it():
    """A 1 between a 3 and an 8, each read in few frames."""
    values = by_rows([" 253"] * 30 + [" 251"] * 5 + [" 258"] * 30)
    assert values == [25.3] * 30 + [25.1] * 5 + [25.8] * 30

"""Which neighbour asked for what of a note that follows the chord."""

import pytest

from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.explained import explained

THIRD, FIFTH = -13.686, 1.955  # of 5:4 and 3:2 from equal temperament (Helmholtz and Ellis)


def test_each_note_of_a_triad_and_who_asked():
    """C major: E is asked for by C below, as 5:4, and by G above, as 6:5; all consonances ask alike."""
    follower = ChordFollower(ChordFollowing(pull=0), [0.0] * 128)
    follower.strike([(1, 48), (2, 64), (3, 67)], 0.0)
    c, e, g = explained(follower.sounding)

    assert (c.key, e.key, g.key) == (48, 64, 67)
    assert e.cents == pytest.approx(THIRD, abs=1e-3)
    assert [(one.key, str(one.ratio), one.share) for one in e.wishes] == [(48, "5:2", 0.5), (67, "6:5", 0.5)]
    assert [one.wants_cents for one in e.wishes] == pytest.approx([THIRD] * 2, abs=1e-3)
    assert g.wishes[0].wants_cents == pytest.approx(FIFTH, abs=1e-3)


def test_an_octave_asks_most_and_the_steel_by_name():
    (c,) = explained([(60, 3.0)], [(48, 3.0), (55, 10.0), (58, 0.0), (60, -4.0)])

    assert [(one.key, one.elsewhere) for one in c.wishes] == [(48, True), (60, True), (55, True), (58, True)]
    assert [one.share for one in c.wishes] == pytest.approx([4 / 9.1, 4 / 9.1, 1 / 9.1, 0.1 / 9.1])
    assert [one.wants_cents for one in c.wishes[:2]] == [3, -4]
    assert str(c.wishes[3].ratio) == "9:8", "a whole tone, 3.9 cents wide, and not 10:9, which is narrow"


def test_of_two_ratios_the_nearer_is_told():
    assert str(explained([(60, 0.0), (62, -15.0)])[1].wishes[0].ratio) == "10:9"
    assert explained([(60, 1.0)])[0].wishes == ()

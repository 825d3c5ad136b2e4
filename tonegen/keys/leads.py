"""Whom keys follow that follow the chord, and which receivers can."""

from typing import Final

from tonegen.errors import BadValue
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import BendPerClass, BendPerNote, KeyTuning, Osc, Receiver
from tonegen.setlist.records import Lead

_SONG_PULL: Final = 0.2  # its temperament has good intervals already, and others in the band may have it too


def usual_following(lead: Lead) -> ChordFollowing:
    """How keys follow unless it is said: nearer to a song's own temperament than to equal."""
    return ChordFollowing(pull=_SONG_PULL) if lead is Lead.SONG else ChordFollowing()


def follower_of(made: Plan, lead: Lead, following: ChordFollowing | None = None) -> ChordFollower:
    """Who gives a receiver's notes their offsets, beginning with silence.

    The master is the plan's scale, and that of each plan that comes after it; for the bass equal temperament,
    whatever comes. Raises BadValue as `check_follows` does.
    """
    following = following or usual_following(lead)
    check_follows(made, lead, following)
    return ChordFollower(following, None if lead is Lead.BASS else made.scale.key_cents.tolist())


def check_follows(made: Plan, lead: Lead, following: ChordFollowing) -> None:
    """Raise BadValue for a receiver whose notes cannot follow the chord as they are played."""
    check_receiver(made.receiver, following)
    check_master(made, lead, following)


def check_receiver(receiver: Receiver, following: ChordFollowing) -> None:
    """Raise BadValue for a receiver whose notes cannot follow the chord, whatever its tuning.

    A class of keys is tuned as one, and stays while any key of it sounds; a single note is tuned right before
    it sounds. A dump is too long for that.
    """
    if isinstance(receiver, KeyTuning) and receiver.message == "dump":
        raise BadValue(
            "a dump of all keys cannot follow the chord as you play; choose a receiver with bends, channel "
            "tuning or single note changes, such as mpe"
        )
    if isinstance(receiver, Osc) and not receiver.retunes_notes:
        raise BadValue(
            "this receiver is sent its tuning and no notes, so that it cannot follow the chord; choose one "
            "that is sent each note, such as osc-per-note"
        )
    if following.glide_cents_per_second and not isinstance(receiver, BendPerClass | BendPerNote):
        raise BadValue("notes glide by bends, which this receiver has not; choose another, such as mpe")


def check_master(made: Plan, lead: Lead, following: ChordFollowing) -> None:
    """Raise BadValue for a tuning that cannot lead.

    So it is where the bass is to lead at equal temperament and something else was chosen, and where the
    receiver cannot hold what a note may get.
    """
    if lead is Lead.BASS and made.scale.key_cents.any():
        raise BadValue(
            "who follows the bass has the lowest note at equal temperament; with another, follow the song"
        )
    made.check_reach(following.most_cents)

"""What pages ask for: small typed messages, one JSON object each, told apart by their `do`.

Strings go by number, 0 being the bass note that the grip is heard against.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from tonegen.ear.session import Method
from tonegen.ear.trials import Bed, Kind

Name = Annotated[str, Meta(max_length=120)]
StringNumber = Annotated[int, Meta(ge=0, le=64)]


class Asked(Struct, tag_field="do", tag=str.lower, forbid_unknown_fields=True, frozen=True):
    """The base of everything that a page asks for."""


class Engage(Asked, frozen=True):
    """Engage a change: 0 is at rest, 1 at its stop."""

    change: Name
    travel: float


class Release(Asked, frozen=True):
    """Let go of every change."""


class Strings(Asked, frozen=True):
    """Sound these strings together."""

    strings: Annotated[tuple[StringNumber, ...], Meta(max_length=64)]


class Grip(Asked, frozen=True):
    """Take a saved grip, with its changes."""

    name: Name


class Bar(Asked, frozen=True):
    """Put the bar at a fret; 0 is open."""

    fret: float


class Offset(Asked, frozen=True):
    """Move the tuning point that a string stands on now; one drag is one `gesture`."""

    string: StringNumber
    offset_cents: float
    gesture: Name = ""


class Pure(Asked, frozen=True):
    """Move a string until it is pure with another one that sounds."""

    string: StringNumber
    against: StringNumber


class Equal(Asked, frozen=True):
    """Put the tuning point that a string stands on at equal temperament."""

    string: StringNumber


class Target(Asked, frozen=True):
    """Put it back to the player's target, which the temperament gives."""

    string: StringNumber


class Targets(Asked, frozen=True):
    """Put every moved tuning point back to its target."""


class Keep(Asked, frozen=True):
    """Keep all offsets as they are now as the player's own temperament."""

    name: Name


class Choose(Asked, frozen=True):
    """Choose what is given, leave the rest. `root` counts semitones from C; -1 is the instrument's own."""

    instrument: Name | None = None
    temperament: Name | None = None
    root: Annotated[int, Meta(ge=-1, le=11)] | None = None
    drop: Name | None = None
    timbre: Name | None = None
    reference_hz: float | None = None
    against: Name | None = None


class SaveGrip(Asked, frozen=True):
    """Save the strings and changes of this moment as a grip."""

    name: Name


class ForgetGrip(Asked, frozen=True):
    """Forget a grip that the player saved."""

    name: Name


class SaveSong(Asked, frozen=True):
    """Put a song on the set list, with its key as a pitch class; one of that name changes its key."""

    name: Name
    key: Annotated[int, Meta(ge=0, le=11)]


class ForgetSong(Asked, frozen=True):
    """Take a song off the set list."""

    name: Name


class Song(Asked, frozen=True):
    """Bring the bar to a song's key."""

    name: Name


class Only(Asked, frozen=True):
    """Hear only the beating partials of a pair; of nothing to hear everything again."""

    low: StringNumber | None = None
    high: StringNumber | None = None


class Tones(Asked, frozen=True):
    """Write the two free tones, and what they stand for, "" being guessed; leave what is not given."""

    low: Name | None = None
    high: Name | None = None
    ratio: Name | None = None


class TuneTones(Asked, frozen=True):
    """Move the upper one of the two free tones: pure with the lower, or whole semitones from it."""

    to: Literal["pure", "equal"]


class HearTones(Asked, frozen=True):
    """Hear the two free tones instead of the grip, or the grip again; `only` leaves what beats."""

    on: bool
    only: bool = False


class Split(Asked, frozen=True):
    """The lowest tone in the left ear and the others in the right, or all in both."""

    on: bool


class Sound(Asked, frozen=True):
    """Begin or end the sound."""

    on: bool


class Mute(Asked, frozen=True):
    """Fall silent at once, or be heard again."""

    on: bool


class Level(Asked, frozen=True):
    """The level that all tones together stay under."""

    dbfs: float


class Device(Asked, frozen=True):
    """Send the sound to a device of the machine, by name; its default one for None."""

    name: Name | None = None


class Devices(Asked, frozen=True):
    """Show the sound devices that the machine has."""


class Tapped(Asked, frozen=True):
    """Taps along with the beat of a pair, by when they came."""

    low: StringNumber
    high: StringNumber
    times_ms: Annotated[tuple[float, ...], Meta(max_length=400)]


class Counted(Asked, frozen=True):
    """Beats of a pair that were counted for so many seconds."""

    low: StringNumber
    high: StringNumber
    beats: Annotated[float, Meta(gt=0, le=10_000)]
    seconds: Annotated[float, Meta(gt=0, le=3600)]


class Undo(Asked, frozen=True):
    """Take back the last step."""


class Redo(Asked, frozen=True):
    """Do the last undone step again."""


class Decide(Asked, frozen=True):
    """Go on with what is shown, in place of what could not be read; until then that is not written over."""


class Ping(Asked, frozen=True):
    """Ask what the engine's clock shows."""

    sent_ms: float


class Scene(Asked, frozen=True):
    """Take a scene, its grips, weights, pins and band; "" for the instrument's own grips alone."""

    name: Name


class Weigh(Asked, frozen=True):
    """Say how much a grip matters in tempering; 0 leaves it out."""

    grip: Name
    weight: Annotated[float, Meta(ge=0, le=100)]


class Pin(Asked, frozen=True):
    """Hold a tuning point where it is, or let it go again."""

    string: StringNumber
    changes: Annotated[tuple[Name, ...], Meta(max_length=12)]


class Objective(Asked, frozen=True):
    """What tempering makes least."""

    name: Literal["beats", "cents", "worst-beats", "worst-cents"]


class Temper(Asked, frozen=True):
    """Find the best offsets."""


class Along(Asked, frozen=True):
    """Look at another place of the trade-off; -1 is the solution itself."""

    place: Annotated[int, Meta(ge=-1, le=1000)]


class TakeOffer(Asked, frozen=True):
    """Keep what was found: every tuning point moves there."""


class ThrowAway(Asked, frozen=True):
    """Forget what was found."""


class Compare(Asked, frozen=True):
    """Show two temperaments side by side, "" being the offsets as they are now; None puts them away."""

    between: tuple[Name, Name] | None


class Stand(Asked, frozen=True):
    """Engage these changes whole, and no other."""

    changes: Annotated[tuple[Name, ...], Meta(max_length=12)]


class Read(Asked, frozen=True):
    """Note what the meter shows of a string with the changes as they stand; `value` as it was typed.

    against, ratio : the tone of a count of beats, and what the two stand for, "" for a unison
    """

    string: StringNumber
    unit: Literal["cents", "hz", "beats"]
    value: Name
    against: Name = ""
    ratio: Name = ""


class ReadList(Asked, frozen=True):
    """Note every reading of a list, as a CSV file has it."""

    text: Annotated[str, Meta(max_length=60_000)]


class Unread(Asked, frozen=True):
    """Take a reading away by its place in the list; None takes them all."""

    at: Annotated[int, Meta(ge=0)] | None = None


class Meter(Asked, frozen=True):
    """Say how good a reading of the meter is, in cents."""

    cents: Annotated[float, Meta(gt=0, le=100)]


class KeepDrop(Asked, frozen=True):
    """Keep the drop that the readings tell as the player's own profile, and use it."""

    name: Name


class Order(Asked, frozen=True):
    """Make a plan to tune by ear, to the offsets as they are."""


class Step(Asked, frozen=True):
    """Go to a step of the plan; -1 goes back to the grip. `only` leaves just the partials that beat."""

    at: Annotated[int, Meta(ge=-1, le=10_000)]
    only: bool = False


class Keys(Asked, frozen=True):
    """Show the keyboards: what a receiver would get, and the ports there are."""


class Receiver(Asked, frozen=True):
    """Choose a receiver, who is right where strings disagree, and whether all strings are followed."""

    name: Name
    policy: Name
    follow: bool


class Send(Asked, frozen=True):
    """Tune the receiver at "midi NAME", "virtual NAME" or "osc HOST:PORT", and keep it in tune."""

    where: Name


class Through(Asked, frozen=True):
    """Retune what is played into a port on its way to the receiver."""

    port: Name


class PutBack(Asked, frozen=True):
    """Take everything back that was sent."""


class Listen(Asked, frozen=True):
    """Take OSC in at this port of the loopback address; None ends it."""

    port: Annotated[int, Meta(ge=1024, le=65_535)] | None


class Ears(Asked, frozen=True):
    """Show who answers trials here, and what he has answered; "" for whoever did last."""

    person: Name = ""


class Train(Asked, frozen=True):
    """Begin trials of a kind; what is left out stays as is usual.

    intervals : as they are written, 5:4,3:2; grip : a grip of the instrument instead, "" as it is set now
    register : two notes; timbre : one of those that are listed; cents : the errors, one number or more
    """

    kind: Kind
    person: Name = ""
    intervals: Name = ""
    grip: Name | None = None
    register: Name = ""
    timbre: Name = ""
    bed: Bed = Bed.NONE
    trials: int | None = None
    method: Method | None = None
    cents: Name = ""
    feedback: bool = True


class GoOn(Asked, frozen=True):
    """Take up the trials that were not finished: the last, or the session of that number."""

    person: Name = ""
    session: int | None = None
    feedback: bool = True


class Forget(Asked, frozen=True):
    """Delete every answer of a person."""

    person: Name


class Pause(Asked, frozen=True):
    """Stop asking; what is not answered waits."""


class Hear(Asked, frozen=True):
    """Hear a trial again, or one of its sounds; -1 is all of them."""

    at: Annotated[int, Meta(ge=-1, le=8)] = -1


class Answer(Asked, frozen=True):
    """Answer the trial of that number with a choice."""

    number: int
    choice: Annotated[int, Meta(ge=0, le=100)]


class Taps(Asked, frozen=True):
    """Answer the trial of that number with taps on its beats, by when they came."""

    number: int
    times_ms: Annotated[tuple[float, ...], Meta(max_length=400)]


class Lesson(Asked, frozen=True):
    """Open a step of a lesson."""

    name: Name
    step: Annotated[int, Meta(ge=0, le=100)] = 0


class Demonstrate(Asked, frozen=True):
    """Hear a sound of the step that is open."""

    at: Annotated[int, Meta(ge=0, le=100)]


class Reply(Asked, frozen=True):
    """Answer the question of the step that is open."""

    at: Annotated[int, Meta(ge=0, le=100)]


class Move(Asked, frozen=True):
    """Move the sound that is adjusted, so far from where it started."""

    cents: float


class Settle(Asked, frozen=True):
    """Answer the trial of that number: the sound is right where it is."""

    number: int
    cents: float


ASKED = (
    Engage | Release | Strings | Grip | Bar | Offset | Pure | Equal | Target | Targets | Keep | Choose
    | SaveGrip | ForgetGrip | SaveSong | ForgetSong | Song | Only | Split | Sound | Mute | Level | Device
    | Undo | Redo | Ping | Decide
    | Scene | Weigh | Pin | Objective | Temper | Along | TakeOffer | ThrowAway | Order | Step
    | Tones | TuneTones | HearTones | Compare | Stand | Read | ReadList | Unread | Meter | KeepDrop
    | Keys | Receiver | Send | Through | PutBack | Listen | Devices | Tapped | Counted
    | Ears | Train | GoOn | Forget | Pause | Hear | Answer | Taps | Move | Settle
    | Lesson | Demonstrate | Reply
)  # fmt: skip

AboutEars = (
    Ears | Train | GoOn | Forget | Pause | Hear | Answer | Taps | Move | Settle | Lesson | Demonstrate | Reply
)

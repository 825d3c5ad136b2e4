"""The desk in sound: tones of a grip follow pedals, bar, temperament and song without a click."""

from dataclasses import replace

import numpy as np
import pytest

from tests.keys.rig import ONE, Through
from tests.measure import hz_of, splash_db
from tonegen.cli.keys.rig import stay
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue
from tonegen.instrument import Grip, TuningPoint
from tonegen.keys.desk import Desk
from tonegen.keys.osc import decode
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes
from tonegen.keys.tones import SpeakerTones
from tonegen.pitch import cents_between
from tonegen.presets import drop, instrument, temperament
from tonegen.presets.own import save_temperament
from tonegen.setup.rig import Bare, Rig
from tonegen.setup.setting import Song
from tonegen.synthesis.player import RAMP_SECONDS, Player
from tonegen.temperament import EQUAL, Context, OwnTemperament

RATE = 48000
E9 = instrument("e9-ten-string")
FIFTH = replace(E9, grips=(Grip("fifth string", (5,)), Grip("raised", (5,), ("A",))))
# Equal temperament at A4 = 440 Hz, as every table of note frequencies prints it (ISO 16 for A4).
B3, C4, CS4, E4, FS4, G4, A4 = 246.942, 261.626, 277.183, 329.628, 369.994, 391.995, 440.0


class Stage:
    """A desk whose tones are pulled, not played: all that was heard is in `sound`."""

    def __init__(self, used=EQUAL, plays=E9, cabinet=NO_DROP, **more):
        self.player = Player(RATE, channels=1)
        self.plans = []
        rig = Rig(plays, used, cabinet) if plays else Bare(used)
        self.desk = Desk({ONE: receiver("osc-per-key")}, rig, sounder=SpeakerTones(self.player), **more)
        self.desk.changed = lambda plans: self.plans.append(plans[ONE])
        self.sound = np.empty(0, dtype=np.float32)

    def pull(self, seconds):
        block = np.empty((round(seconds * RATE), 1), dtype=np.float32)
        self.player.pull(block)
        self.sound = np.append(self.sound, block)
        return block[:, 0]

    def hz(self, *around):
        """What sounds near these, once ramps and glides are over."""
        self.pull(2 * RAMP_SECONDS)
        heard = self.pull(2.0)
        return tuple(hz_of(heard, RATE, one) for one in around)


def play(stage, *tones):
    stage.desk.play(tones)
    stage.pull(0.5)  # the slow fade-in


def near(*hz):
    return tuple(pytest.approx(one, abs=0.002) for one in hz)


def test_a_grip_follows_pedals_half_stops_and_the_bar():
    """Pedal A takes string 5 from B to C#, through C at half its travel; string 4 stays on E."""
    stage = Stage()
    play(stage, "4,5")
    assert stage.hz(E4, B3) == near(E4, B3)

    stage.desk.engage("A", 0.5)
    assert stage.hz(E4, C4) == near(E4, C4)
    stage.desk.engage("A", 1.0)
    assert stage.hz(E4, CS4) == near(E4, CS4)
    stage.desk.fret(3)
    assert stage.hz(G4, 329.628) == near(G4, 329.628)  # C# and three frets: E


def test_a_grip_follows_the_temperament_and_the_drop():
    stage = Stage(cabinet=drop("demo-soft-cabinet"))
    play(stage, "3,4")  # G# and E, a major third and its octave below: 5:4
    gs4, e4 = stage.hz(415.305, E4)
    assert gs4 / e4 == pytest.approx(2 ** (4 / 12), rel=1e-6)

    stage.desk.temperament("five-limit-just", None)
    gs4, e4 = stage.hz(411.0, E4)
    assert gs4 / e4 == pytest.approx(5 / 4, rel=1e-6)

    stage.desk.engage("A", 1.0)  # which moves neither, but the cabinet gives
    lower = stage.hz(411.0, E4)
    sag = drop("demo-soft-cabinet").since_tuned(E9, 4, E9.state(["A"]))
    assert sag < 0
    assert float(cents_between(e4, lower[1])) == pytest.approx(sag, abs=0.01)


def test_a_temperament_brings_the_drop_and_the_pitch_that_it_was_made_with():
    """As on the page; but what was asked for at the start stays."""
    made_with = Context("demo-soft-cabinet", 442.0)
    save_temperament(OwnTemperament("my-e9", E9.name, {TuningPoint(8): 1.0}, context=made_with))
    stage = Stage(used=EQUAL)
    stage.desk.temperament("my-e9", None)
    assert (stage.desk.rig.drop, stage.desk.rig.reference_hz) == (drop("demo-soft-cabinet"), 442.0)
    stage.desk.temperament("vallotti", None)  # was made with nothing
    assert (stage.desk.rig.drop, stage.desk.rig.reference_hz) == (drop("demo-soft-cabinet"), 442.0)
    stage = Stage(used=EQUAL, stays=frozenset({"drop", "reference_hz"}))
    stage.desk.temperament("my-e9", None)
    assert (stage.desk.rig.drop, stage.desk.rig.reference_hz) == (NO_DROP, 440.0)


def test_notes_follow_the_song_that_moves_the_temperament():
    """Without an instrument a song takes the root along: E is a pure third above C, a pure fifth above A."""
    just = temperament("five-limit-just").on(0)
    stage = Stage(
        just,
        None,
        songs=(
            Song("Waltz", 0),
            Song("Reel", 9),
        ),
    )
    play(stage, "C4", "E4", "275.6")
    c4, e4, free = stage.hz(C4, E4, 275.6)
    assert e4 / c4 == pytest.approx(5 / 4, rel=1e-6)

    stage.desk.song("Reel")
    assert stage.hz(E4)[0] / A4 == pytest.approx(3 / 4, rel=1e-6)
    assert stage.hz(275.6) == near(free), "a frequency is what it is"
    assert stage.plans[-1].hz[64] == pytest.approx(330.0)


def test_a_song_brings_the_bar_and_its_tones():
    stage = Stage(songs=(Song("Waltz", 7),))
    play(stage, "E major 4-5-6")
    stage.desk.song("Waltz")

    assert stage.hz(G4) == near(G4)
    assert stage.plans[-1].scale.name.endswith("fret 3")


def test_a_saved_grip_has_its_own_changes_until_a_pedal_moves():
    stage = Stage(plays=FIFTH)
    play(stage, "raised")
    assert stage.hz(CS4) == near(CS4)

    stage.desk.engage("A", 0.5)
    assert stage.hz(C4) == near(C4)
    stage.desk.engage("A", 0.0)
    assert stage.hz(B3) == near(B3)


def level_and_hz(sound):
    """Level and frequency of a single sine at every moment, by its analytic signal, without the ends."""
    size = 1 << (len(sound) - 1).bit_length()
    spectrum = np.fft.fft(sound.astype(np.float64), size)
    spectrum[size // 2 :] = 0
    pointer = 2 * np.fft.ifft(spectrum)[EDGE : len(sound) - EDGE]
    turns = np.unwrap(np.angle(pointer)) / (2 * np.pi)
    return np.abs(pointer), (turns[SHORT:] - turns[:-SHORT]) / SHORT * RATE


EDGE, SHORT = RATE // 10, 240


CHANGES = {
    "a pedal": lambda desk: desk.engage("A", 1.0),
    "a half-stop": lambda desk: desk.engage("A", 0.5),
    "the bar": lambda desk: desk.fret(1.5),
    "a temperament": lambda desk: desk.temperament("five-limit-just", "C"),
    "a song": lambda desk: desk.song("Waltz"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_glides_with_the_phase_kept(change):
    """One string alone: its level never dips, its pitch goes from one to the other, nothing splashes."""
    stage = Stage(plays=FIFTH, songs=(Song("Waltz", 5),))
    play(stage, "fifth string")
    (before,) = stage.hz(B3)
    stage.sound = stage.sound[-RATE // 4 :]
    CHANGES[change](stage.desk)
    stage.pull(0.3)
    level, hz = level_and_hz(stage.sound)
    (after,) = stage.hz(hz[-1])

    assert abs(float(cents_between(before, after))) > 1
    assert level == pytest.approx(np.full_like(level, level.mean()), rel=0.01)
    assert min(before, after) - 0.5 < hz.min()
    assert hz.max() < max(before, after) + 0.5
    assert splash_db(stage.sound, RATE, 2000) < -100


class MidiStage(Stage):
    """The same with a MIDI keyboard: controller 20 is pedal A, 21 and 22 are two levers of one knee."""

    def __init__(self, **more):
        super().__init__(**more)
        self.out = []
        self.play_through()

    def play_through(self):
        (made,) = self.desk.plans().values()
        through = self.through = Through(made, self.out.append, {20: "A", 21: "F", 22: "E"})
        through.playing.steel = self.desk.stand
        self.desk.changed = lambda plans: (self.plans.append(plans[ONE]), through.playing.retune(plans))
        self.told = through.playing.told

    def control(self, controller, value):
        self.through.receive(bytes((0xB0, controller, value)))
        assert self.through.moved.is_set()
        self.through.follow_steel()


@pytest.mark.parametrize("value", [32, 64, 127])
def test_a_half_stop_by_a_midi_controller_moves_scale_and_tones(value):
    stage = MidiStage()
    play(stage, "4,5")
    stage.control(20, value)
    wanted = B3 * 2 ** (2 * value / 127 / 12)  # two semitones at the stop, in a straight line

    assert stage.hz(wanted)[0] == pytest.approx(wanted, abs=0.002)
    key = round(59 + 2 * value / 127)
    assert stage.plans[-1].hz[key] == pytest.approx(wanted, abs=0.002)
    passed_on = [message for message in stage.out if not message.startswith(b"/tune/key")]
    assert passed_on == [], "the tuning goes out, the pedal does not"


def test_a_note_played_by_osc_stands_where_the_pedal_brought_the_string():
    """The receiver gets each note with its frequency: C4 is a quarter tone high with A at three quarters."""
    stage = MidiStage()
    stage.desk.receivers = {ONE: receiver("osc-per-note")}
    stage.play_through()
    stage.control(20, 95)
    stage.through.receive(b"\x90\x3c\x40")

    (message,) = decode(stage.out[0])
    assert message.arguments[1] == pytest.approx(B3 * 2 ** (2 * 95 / 127 / 12), rel=1e-5)


def test_a_pedal_swept_at_every_step_is_heard_as_one_glide():
    """127 positions in half a second: level kept, no click, and it ends where it should."""
    stage = MidiStage(plays=FIFTH)
    play(stage, "fifth string")
    stage.hz(B3)
    stage.sound = stage.sound[-RATE // 4 :]
    for value in range(1, 128):
        stage.control(20, value)
        stage.pull(0.004)
    stage.pull(0.2)

    level, hz = level_and_hz(stage.sound)
    assert level == pytest.approx(np.full_like(level, level.mean()), rel=0.01)
    assert np.diff(hz).min() > -0.01, "always upward"
    assert stage.hz(CS4) == near(CS4)
    assert splash_db(stage.sound, RATE, 2000) < -100


def test_levers_that_exclude_each_other_are_told_once_and_the_one_that_stays_counts():
    stage = MidiStage()
    stage.control(21, 127)
    stage.control(22, 127)
    stage.through.follow_steel()
    stage.through.follow_steel()
    assert stage.desk.hands.travels == {"F": 1.0}
    assert list(stage.told) == ["changes F and E exclude each other; engage one of them."]

    stage.control(21, 0)
    assert stage.desk.hands.travels == {"E": 1.0}


def test_pedals_that_move_within_30_milliseconds_are_one_state():
    """One foot on A and B: its second controller comes while the first one's is gathered."""
    stage = MidiStage()
    gathered = []

    def second_pedal(seconds):
        gathered.append(seconds)
        stage.through.receive(b"\xb0\x15\x7f")

    def follow():
        stage.through.follow_steel()
        raise KeyboardInterrupt

    stage.through.receive(b"\xb0\x14\x7f")
    stay([follow], None, stage.through.moved, pause=second_pedal)

    assert gathered == [0.03]
    assert len(stage.plans) == 1
    assert stage.desk.hands.travels == {"A": 1.0, "F": 1.0}


@pytest.mark.parametrize("value", [63, 64])
def test_a_foot_controller_stands_at_a_half_stop_that_its_steps_miss(value):
    """63/127 and 64/127 lie either side of one half: D4 sounds where it was tuned, 9 cents low."""
    stage = Stage(OwnTemperament("mine", E9.name, {TuningPoint(2, ("DD",), 0.5): -9.0}))
    play(stage, "2,4")
    stage.desk.move({"DD": value / 127})
    assert stage.desk.hands.travels == {"DD": 0.5}
    d4 = 293.665 * 2 ** (-9 / 1200)
    assert stage.hz(d4) == near(d4)
    stage.desk.move({"DD": 65 / 127})
    assert stage.desk.hands.travels == {"DD": 65 / 127}


def test_a_pedal_that_osc_moved_stays_when_a_controller_moves_another():
    stage = MidiStage()
    stage.control(20, 127)
    stage.desk.engage("A", 0.25)
    stage.control(21, 127)

    assert stage.desk.hands.travels == {"A": 0.25, "F": 1.0}


@pytest.mark.parametrize(
    ("tones", "says"),
    [
        (("4,5", "H9"), '"H9" is not a note name'),
        (("3,44",), "has no string 44"),
        (("4,4",), "names a string twice"),
        (("386.3c",), "is relative to another tone"),
    ],
)
def test_tones_that_cannot_be_meant_leave_those_that_sound(tones, says):
    stage = Stage()
    play(stage, "A4")
    with pytest.raises(BadValue, match=says):
        stage.desk.play(tones)

    assert stage.desk.state()["playing"] == ["A4"]
    assert stage.hz(A4) == near(A4)


def test_a_refused_change_moves_neither_scale_nor_tones():
    stage = Stage()
    play(stage, "4,5")
    for refused in (
        lambda: stage.desk.engage("A", 1.5),
        lambda: stage.desk.fret(99),
        lambda: stage.desk.song("Polka"),
        lambda: stage.desk.move({"F": 1.0, "E": 1.0}),
    ):
        with pytest.raises(BadValue):
            refused()

    assert stage.hz(E4, B3) == near(E4, B3)
    assert stage.plans == []


def test_a_song_cannot_move_a_tuning_dump():
    fixed = scale_of_classes("dump", [0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0])
    desk = Desk({ONE: receiver("mts-octave")}, fixed_scale=fixed, songs=(Song("Waltz", 7),))
    with pytest.raises(BadValue, match="choose a temperament, then the song"):
        desk.song("Waltz")
    assert desk.state()["song"] is None

    desk.temperament("five-limit-just", "C")
    desk.song("Waltz")
    assert desk.state()["root"] == "G"


def test_tones_end_and_begin_anew():
    stage = Stage()
    play(stage, "4,5")
    stage.desk.stop()
    stage.pull(0.6)
    assert np.abs(stage.pull(0.1)).max() == 0
    stage.desk.fret(2)  # moves nothing that sounds
    play(stage, "4,5")

    assert stage.hz(FS4) == near(FS4)


def test_keyboards_go_by_the_nearest_fret_while_the_bar_is_on_its_way():
    """Tones slide with the bar; half way between two frets no key would be near any string."""
    stage = Stage(used=temperament("vallotti"))
    play(stage, "8")
    stage.desk.fret(3.0)
    at_the_fret = [*stage.desk.scale().key_cents]
    stage.desk.fret(3.4)
    assert [*stage.desk.scale().key_cents] == at_the_fret
    stage.desk.fret(4.0)
    at_the_next = [*stage.desk.scale().key_cents]
    assert at_the_next != at_the_fret
    stage.desk.fret(3.6)
    assert [*stage.desk.scale().key_cents] == at_the_next

"""Two free tones at the page, held against what the command line prints for the same tones."""

import numpy as np
import pytest

from tests.measure import beat_of, hz_of, splash_db, turns_apart
from tests.page import asks
from tests.page.visitor import Visitor, heard, in_the_loop, visitor
from tonegen.errors import BadValue
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept
from tonegen.page.setting import Setting, TwoTones


def two(page):
    return page.shown["two"]


def beats(page):
    """The beats of the clock by the two tones' names."""
    return {(beat.low, beat.high): (beat.turns, beat.turns_per_second) for beat in page.engine.moment().beats}


@pytest.mark.parametrize(
    ("low", "high", "ratio"),
    [
        ("A3", "C#4", "5:4"),
        ("A3", "C#4", ""),
        ("220", "275.6", ""),
        ("A3+5", "386.3c", "5:4"),
        ("E2", "G#4-13.7", ""),
        ("440", "A4", ""),
        ("G4", "C4", ""),  # the upper one written first
    ],
)
def test_two_tones_beat_as_the_command_line_says(tonegen, low, high, ratio):
    stands_for = f" --ratio {ratio}" if ratio else ""
    printed = tonegen(f"tonegen beats --low {low} --high {high}{stands_for} --json").json["intervals"][0]

    @in_the_loop
    def check():
        page = visitor(None, None, asks.WriteTones(low, high, ratio))
        shown = two(page)["pair"]
        assert shown["beats_per_second"] == pytest.approx(printed["beats_per_second"], abs=1e-9)
        assert (shown["ratio"], shown["direction"]) == (printed["ratio"], printed["direction"])
        assert shown["cents"] == f"{printed['cents_from_just'] + 0.0:+.2f}".replace("-", "−")

    check()


@in_the_loop
def test_the_equal_major_third_on_a_as_the_trade_counts_it():
    """Common practice, no source: A3 to C#4 in equal temperament beats some 8.7 times a second, wide."""
    page = visitor()
    pair = two(page)["pair"]
    assert (pair["rate"], pair["direction"], pair["counts"]) == ("8.73/s", "wide", "87.3 in 10 s")
    assert (pair["cents"], pair["listen"]) == ("+13.69", "1104 Hz")
    assert two(page)["ratios"][0]["words"] == "guessed: 5:4 major third"
    assert two(page)["low_words"] == "A3 +0.00 c, 220.00 Hz"


@in_the_loop
def test_the_upper_tone_is_pure_at_a_touch_and_equal_at_another():
    page = visitor(None, None, asks.WriteTones("221.5", "278", "5:4"), asks.TuneTones("pure"))
    assert two(page)["pair"]["rate"] == "pure"
    assert two(page)["written"]["high"] == "386.313714c"  # Ellis: 386.31 cents
    page.ask(asks.WriteTones(low="A2"))  # stays pure above another tone
    assert two(page)["pair"]["rate"] == "pure"
    page.ask(asks.TuneTones("equal"))
    assert (two(page)["written"]["high"], two(page)["pair"]["cents"]) == ("400c", "+13.69")
    page.ask(asks.WriteTones("G4", "C4", ""), asks.TuneTones("pure"))
    assert two(page)["pair"]["rate"] == "pure"
    assert two(page)["high_words"].startswith("C4 −1.96 c")  # a fifth below


@in_the_loop
def test_a_ratio_is_chosen_among_those_that_fit_and_guessed_again_for_other_tones():
    page = visitor(None, None, asks.WriteTones("A3", "C#4", "81:64"))
    assert two(page)["pair"]["interval"] == "Pythagorean major third"
    assert {"5:4", "81:64", "9:7"} <= {choice["ratio"] for choice in two(page)["ratios"]}
    page.ask(asks.WriteTones(high="C#4+3"))
    assert two(page)["written"]["ratio"] == "81:64"
    page.ask(asks.WriteTones(high="E4"))
    assert (two(page)["written"]["ratio"], two(page)["pair"]["ratio"]) == ("", "3:2")


@in_the_loop
def test_they_sound_instead_of_the_grip_until_it_is_played():
    page = visitor(None, None, asks.Strings((4, 5)), asks.HearTones(True))
    assert page.view["playing"]["sounding"]
    assert two(page)["heard"]
    assert set(beats(page)) == {("tone-low", "tone-high")}
    page.ask(asks.Strings((3, 4)))
    assert set(beats(page)) == {("4", "3")}
    assert not two(page)["heard"]
    page.ask(asks.HearTones(True), asks.HearTones(False))
    assert set(beats(page)) == {("4", "3")}
    page.ask(
        asks.HearTones(True), asks.TurnSound(False), asks.TurnSound(True)
    )  # the sound's button is the grip's
    assert set(beats(page)) == {("4", "3")}


@in_the_loop
def test_their_sound_beats_at_the_rate_and_phase_that_are_shown():
    """The phase that pages are told against the envelope of the sound that they are given, measured."""
    rate = 16_000
    page = visitor(None, None, asks.WriteTones("220", "275.6", "5:4"), asks.HearTones(True, only=True))
    more, _ = heard(page, 3.0, rate)
    turns, turns_per_second = beats(page)["tone-low", "tone-high"]
    sound = more(8.0)
    envelope = np.abs(sound.reshape(-1, 80)).max(axis=1)[: round(0.9 / 2.4 * rate / 80)]
    loudest = envelope.argmax() * 80 / rate
    assert turns_per_second == pytest.approx(4 * 275.6 - 5 * 220)
    assert beat_of(sound, rate, 1101.2) == pytest.approx(2.4, abs=0.01)
    assert turns_apart(turns + turns_per_second * loudest, 0.0) < 0.03
    page.ask(asks.HearTones(True))
    more(0.5)
    assert hz_of(more(2.0), rate, 220.0) == pytest.approx(220.0, abs=0.01)


@in_the_loop
def test_writing_another_tone_glides_there():
    rate = 48_000  # its 32 partials end at 8.8 kHz
    page = visitor(None, None, asks.WriteTones("220", "275.6"), asks.HearTones(True))
    more, _ = heard(page, 1.0, rate)
    page.ask(asks.TuneTones("pure"))
    moving = more(0.5)
    assert splash_db(moving, rate, 10_000.0) < -75
    assert hz_of(more(2.0), rate, 275.0) == pytest.approx(275.0, abs=0.01)


@in_the_loop
def test_they_are_undone_and_found_again_after_a_restart_but_silent():
    saved = []
    page = visitor(None, saved, asks.WriteTones("E2", "386.3c", "5:4"), asks.WriteTones("E2", "702c", ""))
    page.ask(asks.HearTones(True), asks.Undo())
    assert two(page)["written"] == {"low": "E2", "high": "386.3c", "ratio": "5:4"}
    assert page.view["redo"] == "two tones E2 and 702c"
    page.engine.write_down()
    again = Visitor(Engine(saved[-1], saved.append))
    assert two(again)["written"] == two(page)["written"]
    assert (two(again)["heard"], again.view["playing"]["sounding"]) == (False, False)
    again.ask(asks.TurnSound(True))
    assert ("tone-low", "tone-high") not in beats(again)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (asks.WriteTones("386c", "A4"), 'lower tone: "386c" is relative to another tone'),
        (asks.WriteTones("A3", "loud"), 'upper tone: "loud" is not a note name'),
        (asks.WriteTones("", "A4"), 'lower tone: "" is not a note name'),
        (asks.WriteTones("A3", "nan"), "upper tone: frequency nan Hz"),
        (asks.WriteTones("A3", "-440"), "upper tone: frequency -440 Hz"),
        (asks.WriteTones("A3", "99999c"), "upper tone: 99999 cents are more than ten octaves"),
        (asks.WriteTones("A3", "C#4", "5"), '"5" is not a ratio'),
        (asks.WriteTones("A3", "C#4", "0:4"), "needs two whole numbers above zero"),
        (asks.WriteTones("A3", "30000"), "30000 Hz makes no sound"),
    ],
)
def test_what_cannot_be_meant_is_one_line_and_changes_nothing(asked, words):
    @in_the_loop
    def check():
        page = visitor(None, None, asks.HearTones(True))
        before = two(page), page.view
        with pytest.raises(BadValue) as raised:
            page.ask(asked)
        assert words in str(raised.value)
        assert "\n" not in str(raised.value)
        assert (two(page), page.view) == before

    check()


@in_the_loop
def test_too_far_apart_for_cents_is_refused_before_it_is_kept():
    page = visitor(None, None, asks.WriteTones("0.01", "20000"))
    with pytest.raises(BadValue, match="more than ten octaves"):
        page.ask(asks.TuneTones("pure"))
    assert page.ask(asks.Bar(3.0))["setting"]["two_tones"]["high"] == "20000"


@in_the_loop
def test_only_the_beat_of_partials_that_the_timbre_has_not_is_everything():
    """A sine has no fifth partial: what would be silent stays whole, and the card says why."""
    page = visitor(None, None, asks.HearTones(True, only=True), asks.Choose(timbre="pure"))
    assert not two(page)["pair"]["plays"]
    more, _ = heard(page, 1.0, 16_000)
    assert np.abs(more(1.0)).max() > 0.01


@in_the_loop
def test_a_reference_pitch_moves_notes_and_leaves_hz():
    page = visitor(None, None, asks.WriteTones("A3", "275"), asks.Choose(reference_hz=442.0))
    assert two(page)["low_words"] == "A3 +0.00 c, 221.00 Hz"
    assert two(page)["pair"]["beats_per_second"] == pytest.approx(4 * 275 - 5 * 221)


@in_the_loop
def test_damaged_tones_in_the_kept_file_are_replaced():
    page = visitor(Kept(Setting(two_tones=TwoTones("loud", "louder", "x"))))
    assert two(page)["written"] == {"low": "A3", "high": "C#4", "ratio": ""}

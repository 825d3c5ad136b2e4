"""What a page shows and what it can do to the instrument, held against the command line and the trade."""

import re

import numpy as np
import pytest

from tests.measure import beat_of, turns_apart
from tests.page import asks
from tests.page.visitor import Visitor, frames_of, heard, in_the_loop, visitor
from tests.test_presets import SPOILT
from tonegen.errors import BadPreset, BadValue, TonegenError
from tonegen.interval import Ratio, beats_per_second
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept, KeptFile
from tonegen.page.setting import Playing, Setting
from tonegen.setup.setting import MovedPoint

PEDALS_DOWN = (asks.Engage("A", 1.0), asks.Engage("B", 1.0), asks.Strings((3, 4, 5)))


def test_pedals_down_shows_what_the_command_line_prints(tonegen):
    """Every number of the page is the core's: the same rig, asked for by the other door."""
    chosen = "--instrument e9-ten-string --temperament five-limit-just --drop demo-soft-cabinet"
    printed = tonegen(f"tonegen beats {chosen} --changes A,B --grip 3,4,5 --fret 3 --json").json

    @in_the_loop
    def check():
        choose = asks.Choose(temperament="five-limit-just", drop="demo-soft-cabinet")
        page = visitor(None, None, choose, *PEDALS_DOWN, asks.Bar(3.0))
        assert len(page.view["pairs"]) == len(printed["intervals"]) == 3
        for interval in printed["intervals"]:
            pair = page.pair(interval["low_string"], interval["high_string"])
            assert pair["beats_per_second"] == pytest.approx(interval["beats_per_second"], abs=1e-9)
            assert (pair["ratio"], pair["direction"]) == (interval["ratio"], interval["direction"])
        for tone in printed["tones"]:
            string = page.string(tone["string"])
            assert string["hz"] == f"{tone['hz']:.2f}"
            assert string["note"] == tone["name"]
            assert string["drop"] == f"{tone['drop_cents']:+.2f}".replace("-", "−")

    check()


@in_the_loop
def test_the_page_cautions_of_a_string_too_near_its_strength():
    """An E9's third, a .011, at A4 = 460 Hz: 96 % of the least strength that ASTM A228 gives it."""
    page = visitor(None, None, asks.Choose(reference_hz=455.0))
    assert page.view["cautions"] == []
    page.ask(asks.Choose(reference_hz=460.0))
    (caution,) = page.view["cautions"]
    assert caution.startswith("string 3 would be at A4")
    assert "96% of its wire's minimum strength" in caution


@in_the_loop
def test_the_last_string_can_be_let_go():
    page = visitor(None, None, asks.TurnSound(True), asks.Strings((5,)), asks.Strings(()))
    assert page.view["playing"]["strings"] == []
    assert page.ask(asks.Strings((5,)))["strings"][4]["in_grip"]


@in_the_loop
def test_a_half_stop_sounds_half_way_and_says_so():
    """DD lowers string 2 by a whole tone and passes D4 at its measured half-stop."""
    page = visitor(None, None, asks.Strings((2,)), asks.Engage("DD", 0.5))
    assert page.view["state"] == "DD at 0.5"
    assert page.string(2)["note"] == "D4"
    page.ask(asks.Engage("DD", 1.0))
    assert page.string(2)["note"] == "C#4"


def test_a_half_stop_is_tuned_by_hand_and_kept_as_a_point_of_its_own(own_folder):
    @in_the_loop
    def check():
        page = visitor(None, None, asks.Strings((2, 5)), asks.Engage("DD", 0.5), asks.Offset(2, 7.5))
        half, whole = page.cell(2, "DD:0.5"), page.cell(2, "DD")
        assert (half["note"], half["offset"], half["travel"], half["stands"]) == ("D4", "+7.5", 0.5, True)
        assert (whole["offset"], whole["stands"], whole["moved"]) == ("+0.0", False, False)
        assert page.string(2)["point"] == "D4 with DD at 0.5: tune to +7.5"
        assert page.view["setting"]["moved"][0]["travel"] == 0.5
        page.ask(asks.Engage("DD", 0.75), asks.Keep("my-half"))
        assert not any(page.cell(2, column)["stands"] for column in ("open", "DD:0.5"))
        page.ask(asks.Engage("DD", 0.5), asks.Undo(), asks.ToTarget(2))

    check()
    text = (own_folder / "temperaments" / "my-half.toml").read_text()
    assert 'string = 2\nchanges = ["DD"]\ntravel = 0.5\noffset_cents = 7.5\n' in text


@in_the_loop
def test_one_knee_cannot_do_two_things():
    """Raising with F lets go of E, which the same knee engages."""
    page = visitor(None, None, asks.Engage("E", 1.0), asks.Engage("F", 1.0))
    assert page.view["state"] == "F"


@in_the_loop
def test_a_saved_grip_brings_its_strings_and_changes():
    page = visitor(None, None, asks.TakeGrip("A major A+B 3-4-5"))
    assert page.view["state"] == "A+B"
    assert [string["number"] for string in page.view["strings"] if string["in_grip"]] == [3, 4, 5]
    assert [grip["name"] for grip in page.view["grips"] if grip["taken"]] == ["A major A+B 3-4-5"]


@in_the_loop
def test_the_players_own_grip_is_kept_taken_and_forgotten():
    page = visitor(None, None, asks.Engage("A", 0.5), asks.Strings((4, 5)), asks.SaveGrip("half a pedal"))
    page.ask(asks.Release(), asks.Strings((1,)), asks.TakeGrip("half a pedal"))
    assert page.view["state"] == "A at 0.5"
    page.ask(asks.ForgetGrip("half a pedal"))
    assert not [grip for grip in page.view["grips"] if grip["own"]]
    with pytest.raises(BadValue, match="has no grip"):
        page.ask(asks.TakeGrip("half a pedal"))


def set_list(page):
    return [(song["name"], song["key"], song["taken"]) for song in page.view["songs"]]


@in_the_loop
def test_a_song_of_the_set_list_brings_the_bar_to_its_key():
    """An E9 open sounds in E: G is three frets up, D ten."""
    page = visitor(None, None, asks.SaveSong("Invented Waltz", 7), asks.SaveSong("Made-up Reel", 2))
    page.ask(asks.GoToSong("Made-up Reel"))
    assert page.view["fret"] == 10.0
    assert set_list(page) == [("Invented Waltz", "G", False), ("Made-up Reel", "D", True)]
    page.ask(asks.GoToSong("Invented Waltz"))
    assert page.view["fret"] == 3.0
    page.ask(asks.Bar(5.0))
    assert set_list(page) == [("Invented Waltz", "G", False), ("Made-up Reel", "D", False)]


@in_the_loop
def test_a_song_of_the_same_name_changes_its_key_in_its_place():
    page = visitor(None, None, asks.SaveSong("Invented Waltz", 7), asks.SaveSong("Made-up Reel", 2))
    page.ask(asks.GoToSong("Invented Waltz"), asks.SaveSong("Invented Waltz", 9))
    assert set_list(page) == [("Invented Waltz", "A", False), ("Made-up Reel", "D", False)]
    page.ask(asks.GoToSong("Invented Waltz"))
    assert page.view["fret"] == 5.0


@in_the_loop
def test_the_set_list_is_undone_and_goes_along_to_another_instrument():
    page = visitor(None, None, asks.SaveSong("Invented Waltz", 7), asks.ForgetSong("Invented Waltz"))
    assert set_list(page) == []
    page.ask(asks.Undo(), asks.Choose(instrument="c6-ten-string"), asks.GoToSong("Invented Waltz"))
    assert page.view["fret"] == 7.0  # from C to G
    assert set_list(page) == [("Invented Waltz", "G", True)]


@pytest.mark.parametrize("string", [3, 4, 5])
@pytest.mark.parametrize("travel", [1.0, 0.97])
def test_pure_is_one_touch_away_whichever_string_moves(string, travel):
    """On its way as well: the tuning point moves as far as it must for the string to arrive."""

    @in_the_loop
    def check():
        page = visitor(
            None, None, asks.Choose(drop="demo-soft-cabinet"), asks.Engage("A", travel),
            asks.Engage("B", 1.0), asks.Strings((3, 4, 5)),
        )  # fmt: skip
        against = {3: 4, 4: 3, 5: 4}[string]
        page.ask(asks.Pure(string, str(against)))
        low, high = (max(string, against), min(string, against))
        assert abs(page.pair(low, high)["beats_per_second"]) < 0.001
        assert page.pair(low, high)["rate"] == "pure"

    check()


@in_the_loop
def test_equal_and_my_target_are_one_touch_away():
    page = visitor(None, None, asks.Choose(temperament="five-limit-just"), *PEDALS_DOWN)
    page.ask(asks.Offset(5, -7.0))
    assert page.cell(5, "A")["offset"] == "−7.0"
    page.ask(asks.Equal(5))
    assert page.cell(5, "A")["offset"] == "+0.0"
    page.ask(asks.ToTarget(5))
    assert page.cell(5, "A")["offset"] == "−15.6"  # C#, a just major sixth above E: 884.4 cents


@pytest.mark.parametrize("travel", [1.0, 0.6])
@pytest.mark.parametrize("drop", ["none", "demo-soft-cabinet"])
@in_the_loop
def test_a_step_beats_as_it_was_said_to(travel, drop):
    """What each button promises is what is shown once it was pressed, drop and travel considered."""
    page = visitor(None, None, asks.Choose(drop=drop), asks.Engage("A", travel), asks.Strings((4, 5, 6)))
    steps = range(6) if travel == 1 else (2, 3)  # between stops five cents more stand for another ratio
    for number in (4, 5, 6):
        for place in steps:
            string = page.string(number)
            step = string["steps"][place]
            page.ask(asks.Offset(number, string["offset_cents"] + step["cents"]))
            after = page.string(number)
            assert (after["heard_with"], after["beats"]) == (string["heard_with"], step["beats"])
            page.ask(asks.Undo())


@in_the_loop
def test_a_string_is_heard_with_the_plainest_interval_or_with_what_is_heard_alone():
    page = visitor(None, None, asks.Strings((4, 5, 6)))
    assert page.string(4)["heard_with"] == "5"  # a fourth; with 6 it is a minor sixth
    page.ask(asks.Only("6", "4"))
    assert page.string(4)["heard_with"] == "6"
    assert (
        page.string(9)["heard_with"] == page.string(9)["beats"] == page.string(9)["steps"][0]["beats"] == ""
    )


@in_the_loop
def test_moving_a_stop_leaves_the_open_string_alone():
    """A stop of a change is a tuning point of its own."""
    page = visitor(None, None, *PEDALS_DOWN, asks.Offset(5, -7.0))
    assert page.cell(5, "A")["moved"]
    assert page.cell(5, "open")["offset"] == "+0.0"
    page.ask(asks.Release())
    assert page.string(5)["cents"] == "+0.00"


@in_the_loop
def test_a_drag_is_taken_back_at_once_and_done_again():
    page = visitor(None, None, *PEDALS_DOWN, asks.Offset(4, 2.0))
    for cents in (1.0, 3.0, 5.0):
        page.ask(asks.Offset(5, cents, "one drag"))
    assert page.view["undo"] == "string 5 with A to +5.0"
    assert page.ask(asks.Undo())["undo"] == "string 4 open to +2.0"
    assert page.cell(5, "A")["offset"] == "+0.0"
    page.ask(asks.Redo())
    assert page.cell(5, "A")["offset"] == "+5.0"
    page.ask(asks.Undo(), asks.Undo(), asks.Undo(), asks.Undo())
    assert page.view["undo"] == ""
    assert page.view["state"] == "A+B"  # hands and feet stay where they are


@in_the_loop
def test_a_string_says_what_to_tune_it_to_and_what_it_reads_in_this_state():
    """String 8 gives 3.9 cents with A and B, measured together, on this cabinet."""
    page = visitor(None, None, asks.Choose(drop="demo-soft-cabinet"))
    assert page.view["strings"][7]["point"] == "E3 open: tune to +0.0"
    page.ask(*PEDALS_DOWN)
    assert page.view["strings"][7]["point"] == "E3 open: tune to +0.0, reads −3.9 with A+B"
    page.ask(asks.Offset(8, 3.9))
    assert page.view["strings"][7]["point"] == "E3 open: tune to +3.9, reads +0.0 with A+B"


@in_the_loop
def test_another_instrument_takes_what_it_can_and_undo_brings_all_back():
    page = visitor(None, None, asks.Choose(drop="demo-soft-cabinet"), *PEDALS_DOWN, asks.Offset(5, -7.0))
    view = page.ask(asks.Choose(instrument="bass-four-string"))
    assert [string["number"] for string in view["strings"]] == [1, 2, 3, 4]
    assert view["setting"]["drop"] == "none"  # the cabinet belongs to the other instrument
    view = page.ask(asks.Undo())
    assert view["setting"]["drop"] == "demo-soft-cabinet"
    assert page.cell(5, "A")["offset"] == "−7.0"


@in_the_loop
def test_a_bass_note_is_heard_against_the_grip():
    page = visitor(None, None, asks.Choose(against="E2"), asks.Strings((6, 8)))
    assert page.pair("bass", 6)["ratio"] == "5:2"
    page.ask(asks.Pure(6, "bass"))
    assert page.pair("bass", 6)["rate"] == "pure"
    assert page.string(6)["cents"] == "−13.69"  # a just third is 13.69 cents below an equal one


@in_the_loop
def test_fast_and_slow_beats_are_said_as_such():
    page = visitor(None, None, asks.Strings((3, 5)), asks.Bar(12.0))
    assert page.pair(5, 3)["counts"] == "rough, too fast to count"
    assert page.pair(5, 3)["audible"] == "roughness"


@pytest.mark.parametrize(
    ("asked", "because"),
    [
        (asks.Offset(5, 51.0), "out of range"),
        (asks.Offset(5, float("nan")), "out of range"),
        (asks.Offset(11, 1.0), "no string 11"),
        (asks.Strings((11,)), "no string 11"),
        (asks.Engage("H", 1.0), "no change"),
        (asks.Engage("A", 1.5), "cannot travel"),
        (asks.Bar(25.0), "off the neck"),
        (asks.Level(0.0), "ceiling"),
        (asks.TakeGrip("nothing like it"), "has no grip"),
        (asks.Pure(3, "9"), "do not sound together"),
        (asks.SaveGrip("  "), "needs a name"),
        (asks.SaveSong("  ", 0), "needs a name"),
        (asks.GoToSong("Invented Waltz"), "no song .Invented Waltz.; there are: none yet"),
        (asks.Choose(reference_hz=10.0), "reference pitch"),
        (asks.Choose(against="H3"), "not a note name"),
        (asks.Choose(instrument="/etc/passwd"), "no instrument called"),
        (asks.Choose(instrument="../instruments/e9-ten-string"), "no instrument called"),
        (asks.Choose(temperament="./mine.toml"), "no temperament called"),
        (asks.Choose(drop="demo-soft-cabinet", instrument="c6-ten-string"), "has no change"),
    ],
)
def test_what_cannot_be_meant_changes_nothing(asked, because):
    @in_the_loop
    def check():
        page = visitor(None, None, *PEDALS_DOWN)
        before = page.view
        with pytest.raises((BadValue, BadPreset), match=because):
            page.ask(asked)
        late = Visitor(page.engine)
        assert late.view == before

    check()


@in_the_loop
def test_two_pages_are_shown_the_same():
    page = visitor()
    other = Visitor(page.engine)
    page.ask(*PEDALS_DOWN, asks.Offset(5, -7.0))
    other.ask(asks.Bar(5.0))
    assert page.view == other.view
    assert page.view["bar"] == "fret 5"


def test_everything_is_found_again_after_a_restart_but_silent_and_quiet(own_folder):
    path = own_folder / "page.json"

    @in_the_loop
    def before():
        page = Visitor(Engine(None, KeptFile(path).save))
        page.ask(asks.Choose(temperament="vallotti", against="E2"), *PEDALS_DOWN, asks.Offset(5, -7.0))
        page.ask(
            asks.Bar(3.0), asks.SaveGrip("mine"), asks.TurnSound(True), asks.Level(-10.0), asks.Mute(True)
        )
        page.engine.write_down()

    @in_the_loop
    def after():
        page = Visitor(Engine(KeptFile(path).kept, lambda kept: None))
        assert page.view["state"] == "A+B"
        assert page.cell(5, "A")["offset"] == "−7.0"
        assert page.view["grips"][0]["name"] == "mine"
        assert (page.view["bar"], page.view["setting"]["against"]) == ("fret 3", "E2")
        playing = page.view["playing"]
        assert (playing["sounding"], playing["muted"], playing["level_dbfs"]) == (False, False, -24.0)

    before()
    after()
    assert sorted(file.name for file in own_folder.iterdir()) == ["earlier", "page.json"]


@pytest.mark.parametrize(
    "kept",
    [
        Kept(Setting(instrument="sold-last-year")),
        Kept(Setting(temperament="gone")),
        Kept(Setting(drop="demo-soft-cabinet", instrument="c6-ten-string")),
        Kept(playing=Playing(travels={"Z": 1.0, "A": 7.0}, strings=(3, 44))),
        Kept(playing=Playing(travels={"E": 1.0, "F": 1.0})),
        Kept(playing=Playing(fret=99.0)),
        Kept(Setting(moved=(MovedPoint(77, ("Q",), 3.0),))),
    ],
)
def test_what_no_longer_fits_is_replaced_and_the_page_opens(kept):
    @in_the_loop
    def check():
        page = Visitor(Engine(kept, lambda kept: None))
        assert page.view["strings"]
        assert page.view["pairs"] is not None

    check()


@pytest.mark.parametrize(("spoil", "why"), SPOILT, ids=[spoil.__name__ for spoil, _ in SPOILT])
@pytest.mark.parametrize("kind", ["instruments", "temperaments", "drops", "timbres", "scenes"])
def test_a_bad_preset_costs_only_itself_on_the_page(own_folder, kind, spoil, why):
    folder = own_folder / kind
    folder.mkdir(parents=True)
    spoil(folder / "spoilt.toml")
    (folder / ".#mine.toml").symlink_to("player@stage.4711:1700000000")

    @in_the_loop
    def check():
        page = visitor(None, None, *PEDALS_DOWN)
        listed = {one["name"]: one["title"] for one in page.shown["choices"]["presets"][kind]}
        assert re.search(why, listed["spoilt"])
        assert ".#mine" not in listed
        with pytest.raises(BadPreset, match=why):
            page.ask(asks.TakeScene("spoilt") if kind == "scenes" else asks.Choose(**{kind[:-1]: "spoilt"}))
        assert Visitor(page.engine).view["state"] == "A+B"

    check()


@in_the_loop
def test_a_slow_beat_is_still_where_the_page_draws_it_after_ten_minutes():
    """The phase that pages are told against the envelope of the sound that they are given, measured."""
    rate = 8000
    page = visitor(None, None, asks.Strings((4, 8)), asks.Choose(timbre="organ"))
    page.ask(asks.Offset(4, 1.3), asks.Only("8", "4"), asks.TurnSound(True))
    more, _ = heard(page, 600.0, rate)
    moment = page.engine.moment()
    (beat,) = moment.beats
    sound = more(20.0)

    measured = beat_of(sound, rate, 329.8)
    envelope = np.abs(sound.reshape(-1, 80)).max(axis=1)
    loudest = envelope.argmax() * 80 / rate
    assert abs(beat.turns_per_second) == pytest.approx(measured, abs=0.002)
    assert moment.frame == 600 * rate
    assert turns_apart(beat.turns + beat.turns_per_second * loudest, 0.0) < 0.03


@in_the_loop
def test_moving_an_offset_changes_the_beat_as_shown():
    rate = 16_000
    page = visitor(None, None, asks.Choose(temperament="five-limit-just"), asks.Strings((5, 6)))
    page.ask(asks.TurnSound(True), asks.Only("6", "5"))
    page.ask(asks.Offset(6, -16.0, "drag"))
    more, _ = heard(page, 1.0, rate)
    for cents in np.arange(-16.0, -20.05, -0.25):
        page.ask(asks.Offset(6, float(cents), "drag"))
        more(0.0625)
    sound = more(8.0)

    shown = page.pair(6, 5)["beats_per_second"]
    low, high = float(page.string(6)["hz"]), float(page.string(5)["hz"])
    assert shown == pytest.approx(float(beats_per_second(low, high, Ratio(6, 5))), abs=0.1)
    assert beat_of(sound, rate, 1236.0) == pytest.approx(abs(shown), abs=0.01)


@in_the_loop
def test_one_pair_alone_silences_the_other_strings():
    page = visitor(None, None, *PEDALS_DOWN, asks.Only("4", "3"), asks.TurnSound(True))
    more, _ = heard(page, 1.0, 16_000)
    spectrum = np.abs(np.fft.rfft(more(4.0) * np.hanning(64_000)))
    loud = np.flatnonzero(spectrum > spectrum.max() / 100) / 4
    assert np.all(np.abs(loud - 1319) < 8)  # the fourth's coincident partials: 4 of E4, 3 of A4


@in_the_loop
def test_escape_mutes_and_the_phases_go_on():
    page = visitor(None, None, *PEDALS_DOWN, asks.TurnSound(True))
    more, _ = heard(page, 1.0, 16_000)
    page.ask(asks.Mute(True))
    more(0.5)
    assert np.abs(more(0.5)).max() == 0.0
    assert page.engine.moment().beats
    page.ask(asks.Mute(False))
    more(0.5)
    assert np.abs(more(0.5)).max() > 0.01


@in_the_loop
def test_the_sound_begins_with_a_fade_and_stays_under_its_level():
    page = visitor(None, None, *PEDALS_DOWN, asks.TurnSound(True))
    outlet = page.engine.stage.hear_in_page(48_000, lambda: None)
    blocks = [frames_of(outlet.draw(480))[1] for _ in range(100)]
    peaks = [float(np.abs(block).max()) for block in blocks]
    assert peaks[0] < 0.001
    assert max(peaks) <= 10 ** (-24 / 20)
    assert page.engine.moment().peak_dbfs == pytest.approx(20 * np.log10(max(peaks)), abs=1e-4)
    assert page.engine.moment().peak_dbfs == -120.0  # nothing since


@in_the_loop
def test_the_sound_is_in_one_place_at_a_time():
    page = visitor(None, None, asks.TurnSound(True))
    taken = []
    page.engine.stage.hear_in_page(48_000, lambda: taken.append("first"))
    second = page.engine.stage.hear_in_page(44_100, lambda: taken.append("second"))
    assert taken == ["first"]
    assert page.engine.moment().sample_rate == 44_100
    page.engine.stage.no_longer_in_page(second)
    assert page.view["outlet"] == "opening"


@pytest.mark.parametrize("rate", [0, 100, 10**7])
def test_a_loudspeaker_of_no_such_rate_is_refused(rate):
    @in_the_loop
    def check():
        with pytest.raises(TonegenError, match="sample rate"):
            visitor().engine.stage.hear_in_page(rate, lambda: None)

    check()

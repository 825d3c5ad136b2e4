"""What of the player's work stays, and what goes, when he takes something else."""

import msgspec
import pytest
from msgspec.structs import replace

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.page.setting import Draft, KeptStep, Setting, SettingHistory
from tonegen.setup.setting import Song

KeptSteps = tuple[tuple[KeptStep, ...], tuple[KeptStep, ...]]


def test_a_new_step_leaves_nothing_to_do_again():
    """After going back and doing something else, the old way forward is gone."""
    history = SettingHistory(Setting())
    history.step(Setting(drop="demo-soft-cabinet"), "drop")
    history.undo()
    assert history.redo_words == "drop"
    history.step(Setting(timbre="string"), "timbre")

    assert history.redo_words == ""
    history.redo()
    assert history.present == Setting(timbre="string")


def test_steps_of_one_drag_are_one_step():
    history = SettingHistory(Setting())
    for level in ("equal", "vallotti", "werckmeister-3"):
        history.step(Setting(temperament=level), level, "one drag")
    history.undo()

    assert history.present == Setting()
    assert history.undo_words == ""


def test_a_drag_that_was_undone_goes_on_as_a_step_of_its_own():
    """A page that still holds the handle goes on under the same name: what came before must not be lost."""
    history, before = SettingHistory(Setting()), Setting(drop="demo-soft-cabinet")
    history.step(before, "drop")
    history.step(Setting(temperament="vallotti"), "level", "one drag")
    history.undo()
    history.step(Setting(temperament="werckmeister-3"), "level", "one drag")
    history.undo()

    assert history.present == before


def test_steps_back_and_forward_are_kept_and_go_on_where_they_were():
    history = SettingHistory(Setting())
    walked = [Setting(), Setting(drop="demo-soft-cabinet")]
    walked += [replace(walked[1], songs=(Song("Invented Waltz", n),)) for n in range(3)]
    for setting in walked[1:]:
        history.step(setting, f"to {len(setting.songs)}")
    history.undo()
    undo, redo = history.kept()
    again = SettingHistory(history.present, *msgspec.convert(msgspec.to_builtins((undo, redo)), KeptSteps))

    assert (
        (again.undo_words, again.redo_words) == (history.undo_words, history.redo_words) == ("to 1", "to 1")
    )
    again.redo()
    assert again.present == walked[4]
    for before in walked[3::-1]:
        again.undo()
        assert again.present == before
    assert again.undo_words == ""


def test_a_step_that_cannot_be_read_ends_the_way_back():
    steps = tuple(KeptStep(words, fields) for words, fields in [
        ("songs", {"songs": []}), ("root", {"root": 99}), ("drop", {"drop": "none"})
    ])  # fmt: skip
    history = SettingHistory(Setting(songs=(Song("Invented Waltz", 2),)), steps)
    history.undo()

    assert history.present == Setting()
    assert history.undo_words == ""


def test_long_texts_do_not_make_the_kept_steps_long():
    history = SettingHistory(Setting())
    for number in range(40):
        history.step(Setting(draft=Draft("drops", "long", "", "", f"# {number}" + 60_000 * "x")), "typed")
    undo, _ = history.kept()

    assert 3 < len(undo) < 10
    assert len(msgspec.json.encode(undo)) < 500_000


@in_the_loop
def test_points_that_were_moved_belong_to_their_temperament():
    page = visitor(None, None, asks.Offset(4, 7.0))
    assert page.cell(4, "open")["moved"]
    page.ask(asks.Choose(temperament="five-limit-just"))
    assert not page.cell(4, "open")["moved"]
    assert page.cell(4, "open")["offset"] == "+0.0"  # E, the root
    page.ask(asks.Undo())
    assert page.cell(4, "open")["offset"] == "+7.0"


@in_the_loop
def test_a_pair_that_is_heard_alone_is_let_go_with_one_of_its_strings():
    page = visitor(None, None, asks.Strings((3, 4, 5)), asks.Only("4", "3"))
    assert page.ask(asks.Strings((3, 4)))["playing"]["only"] == ["4", "3"]
    assert page.ask(asks.Strings((4, 5)))["playing"]["only"] is None


@in_the_loop
def test_the_bar_stays_on_the_neck_of_another_instrument():
    page = visitor(None, None, asks.Bar(24.0))
    shorter = next(
        one["name"]
        for one in page.shown["choices"]["presets"]["instruments"]
        if page.ask(asks.Choose(instrument=one["name"]))["frets"] < 24
    )
    page.ask(asks.Choose(instrument="e9-ten-string"), asks.Bar(24.0))
    view = page.ask(asks.Choose(instrument=shorter))

    assert view["fret"] == view["frets"]
    assert view["playing"]["fret"] == view["frets"]


@in_the_loop
def test_sound_that_is_begun_is_heard():
    page = visitor(
        None, None, asks.TurnSound(True), asks.Mute(True), asks.TurnSound(False), asks.TurnSound(True)
    )

    assert not page.view["playing"]["muted"]


@in_the_loop
def test_levers_that_exclude_each_other_change_places():
    """Common practice, no source: one knee cannot push E and F at once."""
    page = visitor(None, None, asks.Engage("E", 1.0), asks.Engage("A", 1.0))
    assert page.ask(asks.Engage("F", 1.0))["state"] == "A+F"


@in_the_loop
@pytest.mark.parametrize("timbre", ["harmonic", "string"])
@pytest.mark.parametrize("string", [5, 6])
def test_pure_moves_a_string_by_what_it_lacks(string, timbre):
    """The third above C and the fifth below: the lower of a pair moves the other way, stiff or not."""
    chosen = asks.Choose(timbre=timbre)
    page = visitor(None, None, chosen, asks.Strings((5, 6)), asks.Pure(string, str(11 - string)))

    assert page.pair(6, 5)["rate"] == "pure"

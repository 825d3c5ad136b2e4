"""What of the player's work stays, and what goes, when he takes something else."""

import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.page.setting import Setting, SettingHistory


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

"""A preset of the player's own at the page: typed, checked, kept, written whole, read again."""

import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.keys.receivers import receiver
from tonegen.page.keeping import Kept
from tonegen.presets import instrument
from tonegen.presets.files import SHIPPED

E9 = (SHIPPED / "instruments" / "e9-ten-string.toml").read_text(encoding="utf-8")


def put(page, *typed):
    for field, text in typed:
        page.ask(asks.PutOwn(field, text))
    return page.shown["own"]


def faults(page):
    return {one["field"]: one["why"] for one in page.shown["own"]["faults"]}


def mine(own_folder, text=E9, name="mine"):
    place = own_folder / "instruments" / f"{name}.toml"
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(text)
    return place


@in_the_loop
def test_one_like_another_is_written_with_its_comments(own_folder):
    page = visitor(None, None, asks.StartOwn("instruments", "e9-ten-string"))
    assert faults(page) == {"name": "give it a name to save it under"}
    shown = put(page, ("name", "mine"), ("strings[0].open", "G4"), ("changes[7].moves.1", ""))
    assert shown["fields"]["strings[0].open"] == "G4"
    assert "grips[7].roles" in faults(page) or "grips[7]" in faults(page)
    page.ask(asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Nothing was saved: ")
    assert not (own_folder / "instruments").exists()
    put(page, ("strings[0].open", "F#4"))
    page.ask(asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Saved as mine. Press")
    text = (own_folder / "instruments" / "mine.toml").read_text()
    assert text == E9.replace("moves = { 1 = +1 }", "moves = {}")
    assert "mine" in [one["name"] for one in page.shown["choices"]["presets"]["instruments"]]
    assert page.shown["ownchoices"]["yours"]["instruments"] == ["mine"]
    page.ask(asks.Choose(instrument="mine"))
    assert page.view["setting"]["instrument"] == "mine"


@in_the_loop
def test_what_is_typed_is_there_again_after_a_restart(own_folder):
    page = visitor(None, None, asks.StartOwn("instruments", "c6-ten-string"))
    put(page, ("name", "half done"), ("strings[2].open", "H"), ("changes[0].name", "P5"))
    again = visitor(Kept(page.engine.at.setting, page.engine.at.playing))
    shown = again.shown["own"]
    assert (shown["name"], shown["fields"]["strings[2].open"]) == ("half done", "H")
    assert shown["fields"]["changes[0].name"] == "P5"
    assert set(faults(again)) == {"name", "strings[2].open", "changes[0].name"}
    assert "P5 is taken" in faults(again)["changes[0].name"]


@in_the_loop
def test_a_pedals_name_that_is_taken_stands_while_rows_change_and_is_written_once_it_is_free(own_folder):
    page = visitor(None, None, asks.StartOwn("instruments", "e9-ten-string"))
    put(page, ("name", "mine"), ("changes[1].name", "C"))
    page.ask(asks.AddOwn("grips"), asks.MoveOwn("changes[1]", 0), asks.AddOwn("changes"))
    assert page.shown["own"]["fields"]["changes[0].name"] == "C"
    assert "C is taken" in faults(page)["changes[0].name"]
    page.ask(asks.TakeOwnOut("grips[8]"))
    put(page, ("changes[2].name", "D"))
    assert page.shown["own"]["fields"]["changes[0].name"] == "C"
    assert "changes[0].name" not in faults(page)
    page.ask(asks.TakeOwnOut("misfits"), asks.SaveOwn())
    names = [change.name for change in instrument("mine").changes]
    assert names[:3] == ["C", "A", "D"]
    put(page, ("changes[1].name", "C"))
    page.ask(asks.TakeOwnOut("changes[0]"))
    assert page.shown["own"]["fields"]["changes[0].name"] == "C"
    assert "changes[0].name" not in faults(page)
    put(page, ("changes[0].name", "D"))
    page.ask(asks.TakeOwnOut("changes[0]"))
    assert "D" in page.shown["own"]["fields"]["changes[0].name"]
    assert faults(page).keys() & {"changes[0].name"} == set(), "it went with its row"


@in_the_loop
def test_a_name_that_is_taken_is_said_and_nothing_is_written_over(own_folder):
    place = mine(own_folder)
    page = visitor(None, None, asks.StartOwn("instruments", "c6-ten-string"))
    put(page, ("name", "mine"))
    assert faults(page) == {"name": "mine is taken by another of yours; give this one its own name"}
    page.ask(asks.SaveOwn())
    put(page, ("name", "e9-ten-string"))
    assert "comes with the program" in faults(page)["name"]
    page.ask(asks.SaveOwn())
    assert place.read_text() == E9
    assert list(place.parent.iterdir()) == [place]


@in_the_loop
def test_steps_are_undone_and_a_save_can_be_followed_by_one(own_folder):
    place = mine(own_folder)
    page = visitor(None, None, asks.OpenOwn("instruments", "mine"))
    put(page, ("frets", "2"), ("frets", "22"))
    page.ask(asks.SaveOwn())
    assert "frets = 22" in place.read_text()
    page.ask(asks.Undo(), asks.Undo())
    assert page.shown["own"]["fields"].get("frets") is None
    assert page.shown["own"]["changed"]
    page.ask(asks.SaveOwn())
    assert place.read_text() == E9


@in_the_loop
async def test_a_file_that_is_edited_outside_is_read_again(own_folder):
    place = mine(own_folder)
    page = visitor(None, None, asks.OpenOwn("instruments", "mine"))
    place.write_text(E9.replace("gauge_inches = 0.013", "gauge_inches = 0.012"))
    shown = await page.until("own", lambda own: own["fields"]["strings[0].gauge_inches"] == "0.012")
    assert (shown["changed"], shown["words"]) == (False, "mine was changed elsewhere, and read again.")
    put(page, ("frets", "22"))
    place.write_text(E9)
    await page.until("own", lambda own: own["elsewhere"])
    page.ask(asks.SaveOwn())
    assert "changed elsewhere" in page.shown["own"]["words"]
    assert place.read_text() == E9
    assert page.shown["own"]["fields"]["frets"] == "22"
    page.ask(asks.ReadOwn())
    assert not page.shown["own"]["changed"]
    await page.engine.close()


@in_the_loop
def test_the_steel_that_is_played_goes_by_its_file_once_it_is_saved(own_folder):
    mine(own_folder)
    page = visitor(None, None, asks.Choose(instrument="mine"), asks.OpenOwn("instruments", "mine"))
    put(page, ("changes[1].moves.6", "2"))
    assert page.engine.at.rig.instrument.change("B").semitones[6] == 1
    page.ask(asks.TakeOwnOut("misfits"), asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Saved as mine. Press")
    assert page.engine.at.rig.instrument.change("B").semitones[6] == 2


@in_the_loop
def test_a_tuning_of_the_library_can_be_made_ones_own(own_folder):
    page = visitor(None, None, asks.StartOwn("instruments", "guitar-open-d"))
    put(page, ("name", "my-slide"))
    page.ask(asks.AddOwn("changes"), asks.PutOwn("changes[0].moves.1", "-2"), asks.SaveOwn())
    assert instrument("my-slide").change("A").semitones == {1: -2}


@in_the_loop
def test_what_cannot_be_asked_is_refused_without_a_trace(own_folder):
    page = visitor()
    with pytest.raises(BadValue, match="nothing is open here"):
        page.ask(asks.PutOwn("title", "Mine"))
    page.ask(asks.StartOwn("instruments"))
    before = page.engine.at.setting
    for asked in (
        asks.PutOwn("nowhere", "1"),
        asks.AddOwn("nowhere"),
        asks.TakeOwnOut("strings[9]"),
        asks.MoveOwn("x", 0),
    ):
        with pytest.raises(BadValue):
            page.ask(asked)
    assert page.engine.at.setting is before
    with pytest.raises(Exception, match="comes with the program"):
        page.ask(asks.OpenOwn("instruments", "e9-ten-string"))
    page.ask(asks.ForgetOwn())
    assert page.shown["own"]["kind"] == ""


@in_the_loop
def test_a_scene_like_another_is_written_with_its_comments(own_folder):
    text = (SHIPPED / "scenes" / "e9-dance-band.toml").read_text(encoding="utf-8")
    page = visitor(None, None, asks.StartOwn("scenes", "e9-dance-band"))
    put(page, ("name", "my-band"), ("grips[0].weight", "5"), ("grips[0].frets", "0, 5"))
    page.ask(asks.AddOwn("pins"))
    put(page, ("pins[1].string", "2"), ("pins[1].travels", "DD=0.5"), ("pins[1].cents", "-4"))
    page.ask(asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Saved as my-band. Press")
    pin = "\n[[pins]]\nstring = 2\ncents = -4\ntravels = { DD = 0.5 }\n"
    written = (own_folder / "scenes" / "my-band.toml").read_text()
    assert written.replace(pin, "") == text.replace("weight = 3", "weight = 5", 1).replace(
        "frets = [0, 3, 8]", "frets = [0, 5]", 1
    )
    assert page.ask(asks.TakeScene("my-band"))["setting"]["scene"] == "my-band"


@in_the_loop
def test_what_is_wrong_with_a_scene_is_said_at_its_row(own_folder):
    page = visitor(None, None, asks.StartOwn("scenes"))
    put(page, ("name", "mine"))
    assert faults(page) == {"grips": "this is needed"}
    page.ask(asks.AddOwn("grips"), asks.AddOwn("grips"), asks.AddOwn("limits"))
    put(page, ("grips[0].name", "E major 3-4-5"), ("grips[1].name", "nowhere"), ("limits[0].string", "11"))
    found = faults(page)
    assert set(found) == {"grips[1]", "limits[0]"}
    assert "no grip" in found["grips[1]"]
    assert "no string 11" in found["limits[0]"]
    page.ask(asks.TakeOwnOut("grips[1]"), asks.TakeOwnOut("limits[0]"), asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Saved as mine. Press")
    assert (own_folder / "scenes" / "mine.toml").read_text() == (
        'title = "My scene"\n\ninstrument = "e9-ten-string"\n\n[[grips]]\nname = "E major 3-4-5"\n'
    )


@in_the_loop
def test_a_drop_profile_is_typed_by_string_and_pedal(own_folder):
    page = visitor(None, None, asks.StartOwn("drops", "demo-soft-cabinet"))
    put(page, ("name", "my-cabinet"), ("cents.A.1", "−1,x"), ("cents.G.2", "-0.4"))
    assert "expected a number" in faults(page)["cents.A.1"]
    put(page, ("cents.A.1", "-1.2"), ("cents.F.3", ""), ("cents.B.99", "-1"))
    assert set(faults(page)) == {"cents.B.99"}
    put(page, ("cents.B.99", ""))
    page.ask(asks.AddOwn("combinations"))
    put(page, ("combinations[1].changes", "B, C"), ("combinations[1].cents", "8=-4.1 10=-3"))
    page.ask(asks.SaveOwn(), asks.Choose(drop="my-cabinet"))
    drop = page.engine.at.rig.drop
    assert (drop.cents["A"][1], drop.cents["G"], 3 in drop.cents["F"]) == (-1.2, {2: -0.4}, False)
    assert drop.combinations[frozenset("BC")] == {8: -4.1, 10: -3}
    assert "# Measured with both down" in (own_folder / "drops" / "my-cabinet.toml").read_text()


@in_the_loop
def test_a_drop_profile_has_the_strings_of_the_steel_that_it_is_for(own_folder):
    """That is played; then the one that was made here; then the one that is chosen."""
    page = visitor(None, None, asks.StartOwn("drops"))
    assert page.shown["own"]["steel"]["strings"] == list(range(1, 11))
    page.ask(asks.StartOwn("instruments"), asks.PutOwn("notes", "E4 B3 G#3"), asks.AddOwn("changes"))
    put(page, ("name", "my-three"))
    page.ask(asks.SaveOwn(), asks.StartOwn("drops"))
    steel = page.shown["own"]["steel"]
    assert (steel["name"], steel["strings"], steel["changes"]) == ("my-three", [1, 2, 3], ["A"])
    page.ask(asks.TakeInstrument("c6-lap-steel"))
    assert page.shown["own"]["steel"]["name"] == "c6-lap-steel"
    with pytest.raises(BadPreset, match="no instrument"):
        page.ask(asks.TakeInstrument("nowhere"))


@in_the_loop
def test_a_scene_offers_the_grips_of_its_steel(own_folder):
    page = visitor(None, None, asks.StartOwn("scenes"))
    assert "E major 4-5-6" in page.shown["own"]["steel"]["grips"]
    page.ask(asks.AddOwn("grips", "E major 4-5-6"))
    assert page.shown["own"]["fields"]["grips[0].name"] == "E major 4-5-6"
    page.ask(asks.AddOwn("grips", "E major 3-4-5"))
    assert page.shown["own"]["fields"]["grips[1].name"] == "E major 3-4-5"
    page.ask(asks.Undo(), asks.Undo())
    assert "grips[0].name" not in page.shown["own"]["fields"]
    put(page, ("instrument", "c6-ten-string"))
    assert "C major 7-6-5" in page.shown["own"]["steel"]["grips"]
    put(page, ("instrument", "nowhere"))
    assert page.shown["own"]["steel"] == {"name": "nowhere", "strings": [], "changes": [], "grips": []}


@in_the_loop
def test_a_receiver_takes_on_what_its_means_needs(own_folder):
    page = visitor(None, None, asks.StartOwn("receivers"))
    put(page, ("name", "my-keys"), ("untouched", "10"))
    assert faults(page) == {}
    put(page, ("means", "key tuning"))
    assert page.shown["own"]["fields"]["message"] == "single note"
    assert faults(page) == {}
    put(page, ("programs", "4"))
    assert "goes with message" in faults(page)["programs"]
    put(page, ("message", "dump"))
    page.ask(asks.SaveOwn())
    assert page.shown["own"]["words"].startswith("Saved as my-keys. Press")
    assert receiver("my-keys").programs == 4
    put(page, ("means", "smoke signals"), ("release_seconds", "x"))
    assert "smoke signals" in faults(page)["means"]


@in_the_loop
def test_the_draft_does_not_travel_with_every_touch(own_folder):
    page = visitor(None, None, asks.StartOwn("instruments", "e9-ten-string"))
    assert page.view["setting"]["draft"] is None
    assert page.engine.at.setting.draft is not None

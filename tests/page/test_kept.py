"""Nothing of the player's is lost: what becomes of the page when a file of his is spoilt, gone or in use."""

import json
import os
import re

import pytest
from msgspec.structs import fields, replace

from tests.page import asks, spoiling
from tests.page.running import RunningPage
from tests.page.spoiling import PLAYING, SETTING
from tests.page.visitor import Visitor, in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.page import copies
from tonegen.page.engine import Engine
from tonegen.page.keeping import VERSION, Kept, KeptFile
from tonegen.page.setting import (
    Draft,
    Foot,
    MeterReading,
    PedalControl,
    Playing,
    Setting,
    TwoTones,
)
from tonegen.setup.setting import MovedPoint, SavedGrip, Song


@pytest.fixture
def furnished(own_folder):
    """A player's folder after an evening, as a program finds it that has just started."""
    spoiling.furnish(own_folder)
    spoiling.forget_what_was_read()
    return own_folder


def opened(own_folder):
    file = KeptFile(own_folder / "page.json")
    return file, Visitor(Engine(file.kept, file.save, None, 0, file.said, file.undecided))


def setting_of(page):
    return page.engine.at.setting


@pytest.mark.parametrize("number", range(24))
def test_nothing_is_lost_whatever_file_is_spoilt_and_how(furnished, number):
    """The long form: python -m tests.page.spoiling 500."""
    file, words = spoiling.spoil(furnished, 1000 + number)
    assert not spoiling.losses(furnished, file), words


def break_a_line(path):
    text = path.read_text()
    path.write_text(re.sub(r"^title = .*$", "title = no quotes", text, count=1, flags=re.M))


@pytest.mark.parametrize(
    ("name", "break_it", "why"),
    [
        ("instruments/my-steel", break_a_line, "line"),
        ("instruments/my-steel", os.unlink, 'no instrument called "my-steel"'),
        ("temperaments/my-ear", os.unlink, 'no temperament called "my-ear"'),
        ("drops/my-cabinet", break_a_line, "line"),
        ("scenes/my-scene", break_a_line, "line"),
    ],
)
def test_a_slip_in_a_preset_leaves_everything_as_it_was_until_the_player_decides(
    furnished, name, break_it, why
):
    place = furnished / f"{name}.toml"
    whole, kept = place.read_bytes(), (furnished / "page.json").read_bytes()
    break_it(place)

    @in_the_loop
    async def evening():
        file, page = opened(furnished)
        with file:
            assert setting_of(page) == SETTING
            assert len(page.view["strings"]) == 10
            assert [cell["offset"] for cell in page.view["cells"] if cell["moved"]][:2] == ["−4.5", "−3.5"]
            [line] = page.shown["notices"]["lines"]
            assert re.search(why, line)
            assert str(place) in line or place.stem in line
            assert page.shown["notices"]["undecided"]
            page.ask(asks.SaveSong("One More", 5))
            await page.engine.close()

    evening()
    assert (furnished / "page.json").read_bytes() == kept
    spoiling.forget_what_was_read()

    @in_the_loop
    async def next_evening():
        file, page = opened(furnished)
        with file:
            assert page.view["songs"][-1]["name"] == "One More"
            place.write_bytes(whole)
            notices = await page.until("notices", lambda notices: not notices["lines"])
            assert not notices["undecided"]
            assert setting_of(page).songs[:-1] == SETTING.songs
            await page.engine.close()

    next_evening()
    found = json.loads((furnished / "page.json").read_text())
    assert found["setting"]["songs"][-1]["name"] == "One More"
    assert sorted(file.name for file in furnished.glob("page*")) == ["page.json"]


@in_the_loop
async def test_what_is_shown_is_kept_once_the_player_decides(furnished):
    (furnished / "instruments" / "my-steel.toml").unlink()
    file, page = opened(furnished)
    with file:
        page.ask(asks.SaveSong("One More", 5), asks.Decide())
        assert not page.shown["notices"]["undecided"]
        assert page.shown["notices"]["lines"]
        await page.engine.close()
    found = json.loads((furnished / "page.json").read_text())
    assert (found["setting"]["instrument"], len(found["setting"]["songs"])) == ("my-steel", 13)


@in_the_loop
async def test_without_a_copy_another_stands_in_and_nothing_is_written_into_his_presets(furnished):
    (furnished / "instruments" / "my-steel.toml").write_text("nothing\n")
    for copy in (furnished / "earlier" / "instruments").iterdir():
        copy.unlink()
    file, page = opened(furnished)
    with file:
        assert setting_of(page) == SETTING
        assert "e9-ten-string is used instead" in page.shown["notices"]["lines"][0]
        with pytest.raises(BadValue, match="once this is fixed"):
            page.ask(asks.Keep("my-ear"))
        with pytest.raises(BadPreset, match="line 1"):
            page.ask(asks.Choose(instrument="e9-ten-string"), asks.Choose(instrument="my-steel"))
        assert page.shown["notices"]["lines"] == []  # another was chosen
        page.ask(asks.Undo())
        await page.engine.close()


@in_the_loop
async def test_a_preset_that_is_spoilt_while_the_page_is_open_goes_on_as_it_was(furnished):
    file, page = opened(furnished)
    with file:
        break_a_line(furnished / "instruments" / "my-steel.toml")
        page.ask(asks.SaveSong("One More", 5), asks.Strings((4, 5)), asks.Offset(5, -3.0))
        assert page.string(5)["offset_cents"] == -3.0
        assert "as it was before" in page.shown["notices"]["lines"][0]
        with pytest.raises(BadPreset, match="no drop called"):
            page.ask(asks.Choose(drop="none-such"))
        await page.engine.close()


@in_the_loop
async def test_a_grip_whose_string_is_gone_stays_until_the_string_is_back(furnished):
    place = furnished / "instruments" / "my-steel.toml"
    whole = place.read_text()
    place.write_text(whole.replace("{ open", "# { open", 1) if "# { open" in whole else whole)
    kept = replace(SETTING, grips=(SavedGrip("Twelve strings", (11, 12), {"Q": 1.0}), *SETTING.grips))
    page = visitor(Kept(kept))
    assert "Twelve strings" in [grip["name"] for grip in page.view["grips"]]
    assert "Twelve strings" not in [one["name"] for one in page.shown["asked"]["wanted"]]


def write(own_folder, kept, **of_setting):
    """A page file as the program writes it, with some fields of the setting replaced."""
    own_folder.mkdir(parents=True, exist_ok=True)
    with KeptFile(own_folder / "page.json") as file:
        file.save(kept)
    place = own_folder / "page.json"
    found = json.loads(place.read_text())
    found["setting"].update(of_setting)
    place.write_text(json.dumps(found))
    for copy in (own_folder / "earlier").glob("page*"):
        copy.unlink()
    return place


def test_one_bad_field_costs_only_itself(own_folder):
    songs = [{"name": "First", "key": 2}, {"name": "Second", "key": "H"}, {"name": "Third", "key": 7}]
    kept = Kept(Setting(grips=(SavedGrip("mine", (3, 4), {"A": 0.5}),)), Playing(fret=3.0))
    kept = replace(kept, input="pickup", input_channel=2)
    place = write(own_folder, kept, songs=songs, root="H", weights={"a": 1.0, "b": "much"})
    spoilt = place.read_bytes()
    file = KeptFile(place)
    with file:
        setting = file.kept.setting
        assert [song.name for song in setting.songs] == ["First", "Third"]
        assert (setting.root, setting.weights, setting.grips) == (None, {"a": 1.0}, kept.setting.grips)
        assert file.kept.playing.fret == 3.0
        assert (file.kept.input, file.kept.input_channel) == ("pickup", 2)
        [line] = file.said
        assert "is damaged; only partly read: root, set list, weights of grips;" in line
        assert place.read_bytes() == spoilt


def test_what_the_damaged_file_lacks_comes_from_its_newest_copy(furnished):
    place = furnished / "page.json"
    whole = place.read_text()
    place.write_text(whole[: whole.index('"Invented Song 4"')])
    with KeptFile(place) as file:
        assert (file.kept.setting, file.kept.playing) == (SETTING, PLAYING)


def test_a_file_that_breaks_off_gives_every_entry_before_that(furnished):
    place = furnished / "page.json"
    whole = place.read_text()
    for copy in (furnished / "earlier").glob("page*"):
        copy.unlink()
    place.write_text(whole[: whole.index('"Invented Song 4"')])
    with KeptFile(place) as file:
        setting = file.kept.setting
        assert setting.songs == SETTING.songs[:4]
        names = [field.name for field in fields(Setting)]
        for name in names[: names.index("songs")]:
            assert getattr(setting, name) == getattr(SETTING, name)


def test_a_name_with_another_letter_in_a_damaged_file_does_not_take_the_place_of_the_right_one(furnished):
    place = furnished / "page.json"
    place.write_text(
        place.read_text().replace("Invented Song 4", "Invented Sonk 4").replace('"fret":', '"fret"')
    )
    with KeptFile(place) as file:
        names = [song.name for song in file.kept.setting.songs]
        assert names == [*(song.name for song in SETTING.songs), "Invented Sonk 4"]


def test_each_damaged_file_is_copied_and_none_of_the_copies_is_written_over(furnished):
    place = furnished / "page.json"
    for damage in (b"", b"{", b"[1]", b"\xff" * 99, b'{"setting": 3}', b"{"):
        place.write_bytes(damage)
        with KeptFile(place) as file:
            assert file.kept.setting == SETTING
            file.save(replace(file.kept, undecided=False))
    aside = {copy.read_bytes() for copy in (furnished / "earlier").glob("page-damaged.*")}
    assert aside == {b"", b"{", b"[1]", b"\xff" * 99, b'{"setting": 3}'}


@pytest.mark.parametrize("spoil", [os.unlink, lambda path: (path.unlink(), path.mkdir())])
def test_a_page_file_that_is_gone_comes_back_from_its_copy(furnished, spoil):
    place = furnished / "page.json"
    spoil(place)

    @in_the_loop
    async def evening():
        file, page = opened(furnished)
        with file:
            assert setting_of(page) == SETTING
            assert page.shown["notices"]["lines"]
            page.ask(asks.Decide())
            await page.engine.close()

    evening()
    assert json.loads(place.read_text())["setting"]["songs"]


def rewritten(place, change):
    found = json.loads(place.read_text())
    change(found)
    place.write_text(json.dumps(found))


def test_a_field_that_its_version_has_is_missed(furnished):
    place = furnished / "page.json"
    rewritten(place, lambda found: found["setting"].pop("songs"))
    with KeptFile(place) as file:
        assert file.undecided
        assert "set list" in file.said[0]
        assert file.kept.setting == SETTING


def test_a_field_that_is_younger_than_a_damaged_file_is_not_missed(furnished):
    place = furnished / "page.json"
    rewritten(place, lambda found: found.update(version=VERSION - 1))
    rewritten(place, lambda found: found["setting"].pop("songs"))
    rewritten(place, lambda found: found["setting"].update(reference_hz="high"))
    with KeptFile(place) as file:
        assert "reference pitch" in file.said[0]
        assert "set list" not in file.said[0]


def test_what_reads_well_of_a_damaged_file_wins_over_its_copy(furnished):
    place = furnished / "page.json"
    weights = {"Grip 1": 3.0, "Grip 3": "much"}
    rewritten(place, lambda found: found["setting"].update(weights=weights))
    with KeptFile(place) as file:
        assert file.kept.setting.weights == {"Grip 1": 3.0, "Grip 3": 0.5}


def test_readings_are_read_to_their_end_from_a_file_that_breaks_off_after_them(furnished):
    """From the file alone, without a copy; each has a field "against", as the setting has."""
    for copy in (furnished / "earlier").glob("page.*.json"):
        copy.unlink()
    place = furnished / "page.json"
    text = place.read_text()
    place.write_text(text[: text.index('"two_tones"') + 30])
    with KeptFile(place) as file:
        assert file.kept.setting.readings == SETTING.readings


def test_a_page_file_that_the_player_put_there_later_is_taken(furnished):
    """He mended it, or brought one along: what waited for his decision moves among the copies."""
    beside = furnished / "page-undecided.json"
    beside.write_text(json.dumps({"setting": {"temperament": "equal"}}))
    os.utime(beside, (1.7e9, 1.7e9))
    with KeptFile(furnished / "page.json") as file:
        assert file.kept.setting == SETTING
    assert list((furnished / "earlier").glob("page-undecided-damaged.*"))


def test_a_file_of_a_newer_program_is_left_as_it_is(furnished):
    place = furnished / "page.json"
    newer = json.loads(place.read_text())
    newer["version"] = VERSION + 1
    newer["setting"]["colours"] = ["of the future"]
    place.write_text(json.dumps(newer))
    before = place.read_bytes()

    @in_the_loop
    async def evening():
        file, page = opened(furnished)
        with file:
            assert setting_of(page) == SETTING
            assert "newer tonegen" in page.shown["notices"]["lines"][0]
            page.ask(asks.SaveSong("One More", 5))
            await page.engine.close()

    evening()
    assert place.read_bytes() == before


def test_the_fields_of_this_version_are_these():
    """Whoever adds or drops one raises VERSION: a file that lacks a field of its version is damaged."""
    assert VERSION == 10
    records = (
        Setting,
        Playing,
        Song,
        SavedGrip,
        MovedPoint,
        MeterReading,
        TwoTones,
        Draft,
        Foot,
        PedalControl,
    )
    assert {record.__name__: " ".join(one.name for one in fields(record)) for record in records} == {
        "Setting": "instrument temperament root drop reference_hz timbre against moved grips songs "
        "scene weights pins objective readings meter_cents compared two_tones draft foot",
        "Playing": "travels strings fret song only two_tones two_tones_only split sounding muted level_dbfs "
        "evening goes_on",
        "Song": "name key minor",
        "SavedGrip": "name strings travels",
        "MovedPoint": "string changes offset_cents travel",
        "MeterReading": "string changes unit value against ratio seconds side",
        "TwoTones": "low high ratio",
        "Draft": "kind name was stamp text aside",
        "Foot": "port pedals",
        "PedalControl": "change number channel",
    }


def test_undo_survives_a_restart_also_past_a_save_whose_file_stays(own_folder):
    """Whoever saved, closed the program and thinks better of it the next day."""

    def next_day(*asked):
        told = []

        @in_the_loop
        async def day():
            file, page = opened(own_folder)
            with file:
                for one in asked:
                    page.ask(one)
                    told.append(page.shown.get("told", {}).get("text", ""))
                told.append(setting_of(page))
                await page.engine.close()

        day()
        return told

    offset, keep = asks.Offset(6, -4.0), asks.Keep("my-ear")
    _, said, saved = next_day(offset, keep)
    assert said == "Saved as my-ear. In use."
    assert (saved.temperament, saved.moved) == ("my-ear", ())

    words, before = next_day(asks.Undo())
    assert words == "Undone: saved as my-ear (its file stays)."
    assert (before.temperament, before.moved[0].offset_cents) == ("equal", -4.0)
    assert (own_folder / "temperaments" / "my-ear.toml").exists()

    assert next_day(asks.Undo())[-1].moved == ()
    assert next_day(asks.Redo(), asks.Redo())[-1] == saved


def test_a_private_page_file_stays_private(furnished):
    place = furnished / "page.json"
    place.chmod(0o600)
    with KeptFile(place) as file:
        file.save(replace(file.kept, device="another"))
    assert place.stat().st_mode & 0o777 == 0o600


def test_pages_that_start_in_one_second_have_a_copy_each(furnished, monkeypatch):
    monkeypatch.setattr(copies, "stamp", lambda: "2026-11-26-203000")
    first, second = (copies.claim_place("page", copies.earlier(), ".json") for _ in range(2))
    assert first != second


def test_of_two_pages_on_one_folder_the_second_says_so_and_writes_over_nothing(furnished):
    first_program = RunningPage(furnished.parent)
    with first_program, first_program.page() as first:
        first.ask("savesong", name="Of the first", key=3)
        first.shown("view", lambda view: view["songs"][-1]["name"] == "Of the first")

        @in_the_loop
        async def second_program():
            file, second = opened(furnished)
            with file:
                assert "another tonegen page" in second.shown["notices"]["lines"][-1]
                second.ask(asks.SaveSong("Of the second", 4))
                await second.engine.close()

        second_program()
    kept = json.loads((furnished / "page.json").read_text())
    assert kept["setting"]["songs"][-1]["name"] == "Of the first"
    kept_copies = [json.loads(copy.read_text()) for copy in (furnished / "earlier").glob("page.*")]
    assert "Of the second" in [copy["setting"]["songs"][-1]["name"] for copy in kept_copies]
    with KeptFile(furnished / "page.json") as file:
        assert file.said == ()


def test_copies_are_thirty_at_most(furnished):
    for number in range(35):
        with KeptFile(furnished / "page.json") as file:
            file.save(replace(file.kept, device=str(number)))
    names = sorted(copy.name for copy in (furnished / "earlier").glob("page.*"))
    assert len(names) <= 31

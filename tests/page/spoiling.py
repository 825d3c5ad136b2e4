"""Random damage to what a player has in his folder, and what the page must still have afterwards.

    python -m tests.page.spoiling 500

spoils a folder so many times, each time from the same whole one, and says what was lost.
"""

import json
import os
import random
import shutil
import sys
import tempfile
from pathlib import Path

import msgspec

from tests.page import asks
from tests.page.visitor import Visitor, in_the_loop
from tonegen import presets
from tonegen.page import shelf
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept, KeptFile
from tonegen.page.setting import MeterReading, Playing, Setting, TwoTones
from tonegen.presets.files import SHIPPED
from tonegen.setup.setting import MovedPoint, SavedGrip, Song

SETTING = Setting(
    instrument="my-steel",
    temperament="my-ear",
    drop="my-cabinet",
    timbre="my-tone",
    moved=tuple(MovedPoint(string, (), string - 5.5) for string in range(1, 8)),
    grips=tuple(SavedGrip(f"Grip {n}", (n, n + 1, n + 2), {"A": 1.0}) for n in range(1, 6)),
    scene="my-scene",
    weights={"Grip 1": 2.0, "Grip 3": 0.5},
    pins=(MovedPoint(4, (), 2.0), MovedPoint(8, (), 2.0)),
    readings=tuple(MeterReading(string, ("A",), "cents", f"-{string}.25") for string in (4, 4, 6, 8)),
    two_tones=TwoTones("D3", "A3"),
    songs=tuple(Song(f"Invented Song {n}", n % 12) for n in range(12)),
)
PLAYING = Playing(travels={"A": 1.0}, strings=(3, 4, 5), fret=3.0)
LISTS = ("songs", "grips", "readings", "moved", "pins")


def furnish(own_folder):
    """A player's folder, as the page leaves it after an evening."""
    copied = {
        "instruments/my-steel": SHIPPED / "instruments" / "e9-ten-string.toml",
        "drops/my-cabinet": SHIPPED / "drops" / "demo-soft-cabinet.toml",
        "timbres/my-tone": SHIPPED / "timbres" / "organ.toml",
    }
    for name, source in copied.items():
        place = own_folder / f"{name}.toml"
        place.parent.mkdir(parents=True)
        shutil.copy(source, place)
    scene = (SHIPPED / "scenes" / "e9-dance-band.toml").read_text()
    for name, text in {
        "temperaments/my-ear": 'title = "By ear"\ninstrument = "my-steel"\n'
        + "".join(f"[[points]]\nstring = {n}\noffset_cents = -{n}.5\n" for n in range(1, 11)),
        "scenes/my-scene": scene.replace('"e9-ten-string"', '"my-steel"'),
    }.items():
        place = own_folder / f"{name}.toml"
        place.parent.mkdir(parents=True)
        place.write_text(text)
    with KeptFile(own_folder / "page.json") as file:
        file.save(Kept(SETTING, PLAYING))


def files_of(own_folder):
    """What a player has: not the copies, which are the program's own."""
    return sorted(
        file for file in own_folder.rglob("*") if file.is_file() and "earlier" not in file.parts
    )  # fmt: skip


def _flip(file, chance):
    data = bytearray(file.read_bytes())
    for _ in range(chance.randint(1, 20)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    file.write_bytes(data)


def _cut(file, chance):
    data = file.read_bytes()
    file.write_bytes(data[: chance.randrange(len(data))])


def _mistype(file, chance):
    """A field of another type; in a preset, a line of other text."""
    wrong = chance.choice([None, 7, -1e300, "x", [], {}, [[1]], {"x": []}, True])
    if file.suffix == ".json":
        kept = json.loads(file.read_text())
        part = kept[chance.choice(["setting", "playing"])]
        name = chance.choice(sorted(part))
        if isinstance(part[name], list) and part[name] and chance.random() < 0.5:
            part[name][chance.randrange(len(part[name]))] = wrong
        else:
            part[name] = wrong
        file.write_text(json.dumps(kept))
    else:
        lines = file.read_text().splitlines()
        lines[chance.randrange(len(lines))] = f"x = {json.dumps(wrong)}"
        file.write_text("\n".join(lines))


def _remove(file, chance):
    file.unlink()


def _put_a_folder(file, chance):
    file.unlink()
    file.mkdir()


def _lead_nowhere(file, chance):
    file.unlink()
    file.symlink_to("nowhere")


def _empty(file, chance):
    file.write_bytes(b"")


WAYS = (_flip, _cut, _mistype, _remove, _put_a_folder, _lead_nowhere, _empty)


def contents(own_folder):
    """Every file by its bytes, every link and folder by what it is."""
    found = {}
    for place in own_folder.rglob("*"):
        if place.is_symlink():
            found[place.relative_to(own_folder)] = place.readlink()
        elif place.is_file():
            found[place.relative_to(own_folder)] = place.read_bytes()
    return found


def readable(file):
    """The lists of a spoilt page file that a strict reader can still read, entry by entry."""
    try:
        kept = json.loads(file.read_text())
        setting = kept["setting"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return setting if isinstance(setting, dict) else {}


def losses(own_folder, spoilt):
    """What is not as it must be once the page was opened on a spoilt folder, used, and ended cleanly."""
    before = contents(own_folder)
    wrong = []
    held = []
    still = readable(spoilt) if spoilt.suffix == ".json" else {}
    forget_what_was_read()

    @in_the_loop
    async def evening():
        with KeptFile(own_folder / "page.json") as file:
            page = Visitor(Engine(file.kept, file.save, None, 0, file.said, file.undecided))
            view, setting = page.view, page.engine.at.setting
            for name in LISTS:
                there, wanted = getattr(setting, name), getattr(SETTING, name)
                known = {known_by(one) for one in there}
                missing = len([one for one in wanted if known_by(one) not in known])
                if name in still and still[name] != msgspec.to_builtins(wanted):
                    missing = len(wanted) - len(there)
                if missing > 0:
                    wrong.append(f"{missing} of {name} are gone")
            held.append(page.shown["notices"]["undecided"])
            if not (view["strings"] and page.shown["choices"] and page.shown["asked"]):
                wrong.append("the page shows nothing")
            page.ask(asks.SaveSong("One More", 5))
            if not [song for song in page.view["songs"] if song["name"] == "One More"]:
                wrong.append("a song cannot be added")
            await page.engine.close()

    evening()
    after = contents(own_folder)
    for place, content in before.items():
        mine = place.parts[0] in presets.KINDS or (place.parts[0] == "page.json" and held[0])
        if mine and after.get(place) != content and content not in after.values():
            wrong.append(f"{place} was written over")

    @in_the_loop
    async def next_evening():
        with KeptFile(own_folder / "page.json") as file:
            page = Visitor(Engine(file.kept, file.save, None, 0, file.said, file.undecided))
            if "One More" not in [song["name"] for song in page.view["songs"]]:
                wrong.append("the song added since is gone")
            await page.engine.close()

    next_evening()
    return wrong


def known_by(one):
    """What tells an entry from others; its other fields may have become others, and read well."""
    match one:
        case Song() | SavedGrip():
            return one.name
        case MovedPoint():
            return one.string, one.changes
    return one


def forget_what_was_read():
    """As a program that has just started: presets are known from the disk only."""
    shelf._read.clear()
    shelf._copied.clear()


def spoil(own_folder, number):
    """Spoil one file in a way that this number chooses; give the file and what was done."""
    chance = random.Random(number)
    file = chance.choice(files_of(own_folder))
    way = chance.choice(WAYS)
    way(file, chance)
    return file, f"{number}: {file.relative_to(own_folder)} {way.__name__.strip('_')}"


def main(count):
    """Spoil so many folders, and say what was lost."""
    lost = 0
    with tempfile.TemporaryDirectory() as place:
        os.environ["XDG_CONFIG_HOME"] = place
        whole, own_folder = Path(place) / "whole", Path(place) / "tonegen"
        furnish(own_folder)
        own_folder.rename(whole)
        for number in range(count):
            shutil.rmtree(own_folder, ignore_errors=True)
            shutil.copytree(whole, own_folder, symlinks=True)
            file, words = spoil(own_folder, number)
            try:
                wrong = losses(own_folder, file)
            except Exception as error:
                wrong = [f"{type(error).__name__}: {error}"]
            if wrong:
                lost += 1
                print(f"{words}: {'; '.join(wrong)}")
    print(f"{count} spoilt, {lost} with a loss")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 500))

"""The volume, set on a steady tone before anything else is heard."""

from typing import Final

import click

from tonegen.cli.ear.terminal import Speaker
from tonegen.cli.key_reader import STOP, KeyReader
from tonegen.ear.comfort import steady
from tonegen.synthesis.player import CEILING_DBFS, LOWEST_LEVEL_DBFS

_STEP_DB: Final = 2.0
_STEPS: Final = {"up": _STEP_DB, "down": -_STEP_DB}
_PROMPT: Final = f"up, down: louder, softer   enter: it is comfortable   {STOP}: stop"


def set_volume(keys: KeyReader, speaker: Speaker) -> bool:
    """Sound the tone until the player says that it is comfortable; False when he stops instead.

    Nothing is asked where nothing sounds, or the level was given.
    """
    if speaker.silent or speaker.level_was_given:
        return True
    click.echo(
        "Set the volume on this steady tone: comfortable, and no louder. Nothing that follows is louder."
    )
    click.secho(_PROMPT, dim=True)
    speaker.play(steady(speaker.sample_rate))
    try:
        while True:
            click.echo(f"\r{speaker.level_dbfs:.0f} dB of full scale ", nl=False)
            key = keys.next(speaker.watch).name
            if key in _STEPS:
                level = speaker.level_dbfs + _STEPS[key]
                speaker.level(min(max(level, LOWEST_LEVEL_DBFS), CEILING_DBFS))
            elif key in ("enter", STOP):
                click.echo()
                if key == "enter":
                    click.secho(f"to begin at once another time: --level {speaker.level_dbfs:.0f}", dim=True)
                return key == "enter"
            else:
                click.secho(f"\nthat key does nothing here; {_PROMPT}", dim=True)
    finally:
        speaker.play(None)

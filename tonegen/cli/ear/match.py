"""tonegen ear match."""

from pathlib import Path
from secrets import SystemRandom

import click

from tonegen.cli.ear.terminal import (
    STEPS_CENTS,
    AskedHearing,
    asks_who_listens,
    open_history,
)
from tonegen.cli.ear.volume import set_volume
from tonegen.cli.key_reader import STOP, KeyReader
from tonegen.errors import BadValue

_PROMPT = "left, right: a little lower, higher   down, up: more   enter: done   q: stop"


@click.command()
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--trials", type=click.IntRange(1, 100), default=5, show_default=True, help="How many.")
@asks_who_listens
def command(recording: Path, trials: int, hearing: AskedHearing) -> None:
    """Bring a tone to the pitch of a partner's recording.

    RECORDING is a WAV or FLAC file with a held note; of several the longest is taken, and heard over and
    over. Move the tone beside it until nothing beats. How near you came is kept, as in a lesson. To match a
    tone that the program sounds: tonegen ear train set --interval 1:1

    \b
    tonegen ear match partner.wav
    tonegen ear match partner.flac --trials 3 --person Ada
    """
    from tonegen.ear.partner import NoteTogether, is_there, note_of, start_cents
    from tonegen.sound.recordings import Recording

    who = hearing.name
    with Recording(recording) as opened:
        try:
            note = note_of(opened)
        except BadValue as none:
            raise BadValue(f"{recording}: {none}") from None
    with KeyReader() as keys, open_history() as history, hearing.speaker() as speaker:
        if not set_volume(keys, speaker):
            return
        draw = SystemRandom()
        for number in range(1, trials + 1):
            click.secho(f"\n{number} of {trials}  Bring the tone to the note.", bold=True)
            click.secho(_PROMPT, dim=True)
            start, moved = start_cents(draw), 0.0
            source = NoteTogether(note, start, speaker.sample_rate)
            if not speaker.silent:
                speaker.play(source)
            while (key := keys.next(speaker.watch).name) != "enter":
                if key == STOP:
                    return
                if key in STEPS_CENTS:
                    moved += STEPS_CENTS[key]
                    source.move(moved)
                    click.echo(f"\r{'lower' if moved < 0 else 'higher'} than at first ", nl=False)
                else:
                    click.secho(f"that key does nothing here; {_PROMPT}", dim=True)
            off = start + moved
            history.keep_reply(who, f"match {recording.name}", number - 1, off, is_there(off))
            click.echo(f"\n{note.said_of(off)}")
            source.move(-start)  # and so it is when nothing beats
            click.secho("now in tune   space: on   q: stop", dim=True)
            while (key := keys.next(speaker.watch).name) not in ("space", "enter"):
                if key == STOP:
                    return
            speaker.say_if_rest_is_due()

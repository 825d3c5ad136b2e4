"""tonegen render."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from tonegen import presets
from tonegen.cli.asked import AskedTones, asks_how_it_sounds, asks_what_sounds, refuse_silence
from tonegen.cli.show import as_json, force_option, print_json, print_sounding, sounding_json
from tonegen.sounding import tones_to_play

_LONG_SECONDS = 60.0


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@asks_what_sounds
@click.option("--seconds", type=float, default=10.0, show_default=True, help="Length, including fades.")
@click.option("--sample-rate", type=int, default=48_000, show_default=True, help="In Hz.")
@click.option(
    "--bits", type=click.Choice(["16", "24", "float"]), default="24", show_default=True,
    help="16 or 24 with dither, or 32-bit float (WAV).",
)  # fmt: skip
@asks_how_it_sounds
@force_option
@as_json
def command(
    path: Path,
    asked: AskedTones,
    seconds: float,
    sample_rate: int,
    bits: str,
    level: float,
    split: bool,
    only_beating: bool,
    force: bool,
    in_json: bool,
) -> None:
    """Write tones or a grip to a WAV or FLAC file.

    \b
    tonegen render out.wav --hz 220,275.6 --seconds 60
    tonegen render out.flac --instrument e9-ten-string --changes A,B --grip 3,4,5
    """
    timbre = presets.timbre(asked.timbre)
    sounding, made_with = asked.sounding()

    from tonegen.sound.files import SampleFormat, write
    from tonegen.synthesis.bank import FILE_COLUMNS
    from tonegen.synthesis.player import Player

    player = Player(sample_rate, level_dbfs=level, columns=FILE_COLUMNS)
    tones = tones_to_play(sounding, timbre, split=split, only_beating=only_beating)
    refuse_silence(sounding, tones, player.sample_rate)
    player.set(tones)
    with _progress(seconds, hidden=in_json) as progress:
        frames = write(
            path, player, seconds, sample_format=SampleFormat(bits), force=force, progress=progress
        )
    if in_json:
        print_json(
            {
                "path": str(path),
                "seconds": frames / sample_rate,
                "sample_rate": sample_rate,
                **sounding_json(sounding),
            }
        )
    else:
        print_sounding(sounding, made_with)
        click.echo(f"{path}: {frames / sample_rate:g} s at {sample_rate} Hz")


@contextmanager
def _progress(seconds: float, hidden: bool) -> Iterator[Callable[[float], None] | None]:
    """A bar on stderr for a long file, when a person is watching."""
    if hidden or seconds < _LONG_SECONDS or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=round(seconds), label="writing", file=sys.stderr) as bar:
        yield lambda written: bar.update(int(written) - bar.pos)

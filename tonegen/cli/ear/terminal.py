"""What the commands for ears share: a device that plays while keys are read, who answers, their history."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce, wraps
from types import TracebackType
from typing import Any, Final, cast

import click

from tonegen.cli.asked import TEXT
from tonegen.cli.ear.ahead import Ahead
from tonegen.ear.comfort import REST_HINT, Rest
from tonegen.ear.history import FILE_NAME, History, login_name
from tonegen.ear.rendering import Booth, Clip, Source
from tonegen.errors import NoSuchDevice
from tonegen.presets import own_folder
from tonegen.sound.device import choose, output_devices, play
from tonegen.synthesis.player import HEARING_CAUTION, QUIET_LEVEL_DBFS, Player, checked_level_dbfs

# What the arrows move a tone by.
STEPS_CENTS: Final = {"left": -0.2, "right": 0.2, "down": -2.0, "up": 2.0}
_SILENT_SAMPLE_RATE: Final = 48_000
_WATCH_SECONDS: Final = 0.25
_LATENCY_SECONDS: Final = 0.5  # of a device that is slow

_LISTENERS_OPTIONS: Final = (
    click.option("--person", type=TEXT, help="Who is answering; your login name if left out."),
    click.option(
        "--level",
        type=float,
        help=f"Loudness, dB of full scale; at most -6, {QUIET_LEVEL_DBFS:g} when left out.",
    ),
    click.option("--device", type=TEXT, help="Sound device, by number or part of its name."),
    click.option(
        "--no-sound", is_flag=True, help="Draw each beat instead of sounding it, where there is no device."
    ),
)


@dataclass(frozen=True, slots=True)
class AskedHearing:
    """Who answers, and where and how loud it sounds, as it was asked for."""

    person: str | None
    level_dbfs: float | None
    device: str | None
    no_sound: bool

    @property
    def name(self) -> str:
        """Who answers: the name given, or that of the login."""
        return login_name() if self.person is None else self.person

    def speaker(self) -> "Speaker":
        """Where it sounds. Raises BadValue for a level out of range, NoSuchDevice."""
        return Speaker(self.device, self.no_sound, self.level_dbfs)


def asks_who_listens(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of those who answer and listen, as one `hearing`."""

    @wraps(command)
    def asked(
        *arguments: Any,
        person: str | None,
        level: float | None,
        device: str | None,
        no_sound: bool,
        **others: Any,
    ) -> None:
        command(*arguments, hearing=AskedHearing(person, level, device, no_sound), **others)

    return reduce(lambda made, option: option(made), reversed(_LISTENERS_OPTIONS), asked)


def open_history() -> History:
    """The history in the user's own folder; says so when a damaged one was set aside."""
    history = History(own_folder() / FILE_NAME)
    if history.notice:
        click.echo(f"tonegen: {history.notice}", err=True)
    return history


class Speaker:
    """The booth on a device, open as long as the context lasts; or nothing at all, for `--no-sound`.

    level_dbfs : what nothing that it plays exceeds; None for a quiet one
    ahead : makes what may be played next
    Raises BadValue for a level out of range, NoSuchDevice, one line, when there is no device; `play` and
    `watch` raise it when it is lost.
    """

    def __init__(self, device: str | None, no_sound: bool, level_dbfs: float | None = None) -> None:
        """Choose the device."""
        self.silent = no_sound
        self.level_was_given = level_dbfs is not None
        self.level_dbfs = checked_level_dbfs(QUIET_LEVEL_DBFS if level_dbfs is None else level_dbfs)
        self._chosen = None
        if not no_sound:
            try:
                self._chosen = choose(device, output_devices())
            except NoSuchDevice as missing:
                raise NoSuchDevice(f"{missing}; or see the beats drawn: --no-sound") from None
        self.sample_rate = self._chosen.sample_rate if self._chosen else _SILENT_SAMPLE_RATE
        self.ahead = Ahead(self.sample_rate)
        self._booth = Booth(self.sample_rate, self.level_dbfs)
        self._rest = Rest()
        self._ended = threading.Event()
        self._failure: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "Speaker":
        """Open the device, with the usual caution."""
        if self._chosen:
            click.echo(HEARING_CAUTION, err=True)
            self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Fade out and close."""
        self._ended.set()
        self.ahead.close()
        if self._chosen:
            self._thread.join()

    def play(self, source: Source | None) -> None:
        """Play from the next block on; None is silence."""
        self.watch()
        self._booth.play(source)

    def level(self, level_dbfs: float) -> None:
        """Change the level of everything. Raises BadValue above the ceiling."""
        self._booth.level(level_dbfs)
        self.level_dbfs = level_dbfs

    def say_if_rest_is_due(self) -> None:
        """After every 20 minutes of sound, hint at a rest."""
        if self._rest.due(self._booth.sounded_frames / self.sample_rate):
            click.secho(REST_HINT, bold=True)

    def hear_out(self, clip: Clip) -> None:
        """Play it to its end, however late the device begins."""
        self.play(clip)
        while not clip.ended:
            self.watch()
            time.sleep(_WATCH_SECONDS)
        time.sleep(_LATENCY_SECONDS)
        self.watch()

    def watch(self) -> None:
        """Raise what went wrong with the device."""
        if self._failure:
            raise self._failure

    def _run(self) -> None:
        try:
            # The booth has the part of a player that a device uses.
            play(cast(Player, self._booth), cast(Any, self._chosen), stop=self._ended)
        except Exception as failure:
            self._failure = failure

"""tonegen ear practise."""

import secrets
from datetime import datetime

import click

from tonegen.cli.asked import TEXT
from tonegen.cli.ear.terminal import (
    AskedHearing,
    asks_who_listens,
    open_history,
)
from tonegen.cli.ear.train import carried_out, show_results
from tonegen.cli.key_reader import KeyReader
from tonegen.ear.practice import next_up, practice_plan
from tonegen.ear.words import practice_in_words

_MOST_SHOWN = 8


@click.command()
@click.option("--interval", type=TEXT, metavar="5:4,3:2", help="Practise these instead, one after another.")
@click.option("--register", type=TEXT, metavar="A2,A3", help="Where the lowest tone lies.")
@click.option("--show", is_flag=True, help="Only list what to practise next, and why.")
@asks_who_listens
def command(
    interval: str | None,
    register: str | None,
    show: bool,
    hearing: AskedHearing,
) -> None:
    """Practise for eight minutes what helps you most now.

    Which of two is purer: from errors that are easy to hear to small ones, twelve times the same interval.
    What to practise follows from your answers: what you forgot, what is due, what is new, and what you hear
    worst. Practice is not measured; to find out what you can hear, use "tonegen ear train".

    \b
    tonegen ear practise
    tonegen ear practise --show
    tonegen ear practise --interval 6:5 --register E2,E3
    """
    name = hearing.name
    with open_history() as history:
        rows = history.rows(name)
        following = next_up(rows, datetime.now().astimezone().date())
        if show:
            click.echo("\n".join(map(practice_in_words, following[:_MOST_SHOWN])))
            return
        first = following[0]
        plan = practice_plan(
            interval or first.interval, register or first.register, rows, secrets.randbelow(2**31)
        )
        with KeyReader() as keys, hearing.speaker() as speaker:
            if interval is None and register is None:
                click.echo(f"Practise {practice_in_words(first)}")
            asked = carried_out(history.begin(name, plan), history, keys, speaker, feedback=True)
    show_results(asked, keys.columns, hearing.person, by_eye=hearing.no_sound)

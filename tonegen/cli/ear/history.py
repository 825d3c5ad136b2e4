"""tonegen ear history."""

from dataclasses import asdict
from math import log2
from pathlib import Path
from textwrap import wrap
from typing import Any, Final

import click

from tonegen.cli.asked import Parsed
from tonegen.cli.ear.terminal import (
    AskedHearing,
    asks_who_listens,
    open_history,
)
from tonegen.cli.show import as_json, force_option, print_json, print_table
from tonegen.ear.estimate import Estimate
from tonegen.ear.history import History
from tonegen.ear.progress import Day, by_day
from tonegen.ear.rendering import Clip, one_after_another, strip
from tonegen.ear.rows import Row
from tonegen.ear.session import MOST_CENTS, Answered
from tonegen.ear.trend import Trend, trends
from tonegen.ear.trials import TrialKind, judge
from tonegen.ear.words import by_eye_in_words, describe, reply_in_words, trend_in_words, waiting_in_words
from tonegen.errors import BadValue
from tonegen.words import signed

_CELLS: Final = 16


def parse_place(text: str) -> tuple[int, int]:
    """A session and the number of a trial in it. Raises BadValue for anything else.

    >>> parse_place("3:12")
    (3, 12)
    """
    session, _, number = text.partition(":")
    if not (session.isdecimal() and number.isdecimal()):
        raise BadValue(f'"{text}" is not a trial; give its session and its number, such as 3:12')
    return int(session), int(number)


@click.command()
@asks_who_listens
@click.option("--png", type=click.Path(path_type=Path), help="Draw your progress to this PNG file.")
@click.option("--csv", type=click.Path(path_type=Path), help="Write every answer to this CSV file.")
@click.option("--delete", is_flag=True, help="Delete all of this person's answers.")
@click.option("--yes", is_flag=True, help="Delete without asking.")
@click.option(
    "--again",
    type=Parsed("3:12", parse_place),
    help="Replay a trial exactly as it was; give its session and number from the CSV file.",
)
@click.option("--people", is_flag=True, help="List who has answered on this machine.")
@force_option
@as_json
def command(
    hearing: AskedHearing,
    png: Path | None,
    csv: Path | None,
    delete: bool,
    yes: bool,
    again: tuple[int, int] | None,
    people: bool,
    force: bool,
    in_json: bool,
) -> None:
    """See your progress day by day; export or delete it.

    \b
    tonegen ear history
    tonegen ear history --person Ada --png ada.png --csv ada.csv
    tonegen ear history --again 3:12
    tonegen ear history --delete
    """
    with open_history() as history:
        if people:
            _show_people(history, in_json)
            return
        name = hearing.name
        if delete:
            _delete(history, name, yes)
            return
        history.checked_person(name)
        if again:
            found = [row for row in history.rows(name) if (row.session, row.number) == again]
            if not found:
                raise BadValue(f"--again: {name} has not answered trial {again[1]} of session {again[0]}")
            _hear_again(found[0], hearing)
            return
        if unreadable := history.unreadable(name):
            words = "answer" if unreadable == 1 else "answers"
            click.echo(
                f"{unreadable} {words} of {name} cannot be read; they stay in {history.path}", err=True
            )
        lessons = history.lessons(name)
        rows, waiting = history.rows(name), history.unfinished(name)
        days, followed, by_eye = by_day(rows), trends(rows), by_eye_in_words(rows)
        if csv:
            click.echo(f"{history.export(name, csv, force=force)} answers written to {csv}", err=True)
        if png:
            from tonegen.ear.picture import write_progress

            write_progress(days, png, f"Ear training: {name}", followed, force=force)
            click.echo(f"progress drawn to {png}", err=True)
    if in_json:
        print_json(
            {
                "person": name,
                "days": [_day_json(day) for day in days],
                "lessons": [asdict(one) for one in lessons],
                "trends": [_trend_json(trend) for trend in followed],
                "by_eye": sum(row.by_ear is False for row in rows),
                "unfinished": [{"session": one.session, "words": waiting_in_words(one)} for one in waiting],
            }
        )
        return
    # The days of one interval in one register stand beneath each other, so that the bars are a plot of them.
    plotted = sorted(days, key=lambda day: (day.kind, day.interval, day.register, day.day))
    print_table(
        ["trial", "interval", "register", "day", ">trials", ">result", "range", ""],
        [_day_row(day) for day in plotted],
        f"{name}; a threshold is the error heard four times out of five; ranges are 95 %",
    )
    for taken in lessons:
        click.echo(f"lesson {taken.lesson}: {reply_in_words(taken)}")
    for words in [*map(trend_in_words, followed), by_eye]:
        if words:
            click.echo("\n".join(wrap(words, 100, subsequent_indent="  ")))
    if waiting:
        click.echo("Not finished; to continue: tonegen ear train --session NUMBER")
        for one in waiting:
            click.echo(f"{one.session:4}  {waiting_in_words(one)}")


def _delete(history: History, name: str, yes: bool) -> None:
    copies = history.copies_of(name)
    if not copies:
        history.checked_person(name)
    with_copies = f", and the damaged {', '.join(copy.name for copy in copies)}" if copies else ""
    if not yes and not click.confirm(
        f"Delete all {history.count(name)} answers of {name}{with_copies} for good?", err=True
    ):
        click.echo("nothing was deleted", err=True)
        return
    click.echo(f"{history.delete(name)} answers of {name} deleted{with_copies}")


def _hear_again(row: Row, hearing: AskedHearing) -> None:
    """The very sounds of a trial that was answered, and what was said of the answer."""
    trial = row.again()
    click.secho(trial.question, bold=True)
    with hearing.speaker() as speaker:
        if speaker.silent:
            click.echo("\n".join(map(strip, trial.sounds)))
        else:
            speaker.hear_out(Clip(one_after_another(trial.sounds, speaker.sample_rate)))
    click.echo(describe(Answered(trial, row.answer, judge(trial, row.answer))))


def _show_people(history: History, in_json: bool) -> None:
    names = history.people()
    if in_json:
        print_json({"people": list(names)})
    elif names:
        click.echo("\n".join(names))
    else:
        click.echo("no answers yet; begin with: tonegen ear train")


def _day_json(day: Day) -> dict[str, Any]:
    return {**asdict(day), "day": day.day.isoformat(), "kind": day.kind.value}


def _trend_json(trend: Trend) -> dict[str, Any]:
    return {
        "kind": trend.kind.value,
        "interval": trend.interval,
        "register": trend.register,
        "days": trend.days,
        "change": asdict(trend.change),
        "likely": trend.likely,
        "words": trend_in_words(trend),
    }


def _day_row(day: Day) -> tuple[str, ...]:
    where = (day.kind.value, day.interval, day.register, day.day.isoformat(), str(day.trials))
    if day.threshold:
        one = day.threshold
        if one.value > MOST_CENTS:
            return (*where, f"over {MOST_CENTS:g} c", f"above {one.low:.1f} c", bar(one.value))
        return (*where, f"threshold {one.value:.1f} c", f"{one.low:.1f} to {one.high:.1f} c", bar(one.value))
    if day.settings:
        unit = "c" if day.kind is TrialKind.SET else "%"
        error, spread = day.settings.constant_error, day.settings.spread
        return (
            *where,
            f"{signed(error.value, 1)} {unit}",
            f"{signed(error.low, 1)} to {signed(error.high, 1)} {unit}, spread {spread.value:.1f} {unit}",
            "",
        )
    if day.proportion:
        size = "" if day.level_cents is None else f" at {day.level_cents:g} c"
        return (*where, f"{day.proportion.value:.0%} right{size}", _percents(day.proportion), "")
    return (*where, "", "too few", "")


def _percents(one: Estimate) -> str:
    return f"{one.low:.0%} to {one.high:.0%}"


def bar(cents: float) -> str:
    """A bar that is shorter for finer ears, on a logarithmic scale from a quarter of a cent to 64.

    >>> len(bar(64)), len(bar(4)), len(bar(0.25))
    (16, 8, 0)
    """

    return "█" * round(_CELLS * (log2(min(cents, MOST_CENTS)) + 2) / (log2(MOST_CENTS) + 2))

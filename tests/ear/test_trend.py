"""Whether an ear grew finer over the days, and how sure that is."""

import numpy as np
import pytest
from scipy.optimize import minimize

from tests.ear.learners import answered_over_days
from tonegen.ear.panels import panels
from tonegen.ear.picture import write_progress
from tonegen.ear.progress import by_day
from tonegen.ear.psychometric import HEARD, Weibull
from tonegen.ear.trend import ALL_TOGETHER, trends
from tonegen.ear.words import trend_in_words
from tonegen.page.ears.graphs import over_days

HALVED = 8 * 0.5 ** (np.arange(10) / 9)  # from 8 to 4 cents in ten days


def likeliest(rows):
    """First and last threshold of the listener who explains the answers best, by a general optimiser."""
    levels = np.array([row.level_cents for row in rows])
    right = np.array([row.right for row in rows])
    days = np.array([row.session for row in rows]) / 9

    def unlikely(listener):
        log_first, log_change, log_slope = listener
        thresholds = np.exp(log_first + log_change * days)
        share = 0.5 + 0.48 * -np.expm1(-((levels / thresholds) ** np.exp(log_slope)))
        return -np.log(np.where(right, share, 1 - share)).sum()

    log_first, log_change, log_slope = minimize(unlikely, (2.0, 0.0, 0.7), method="Nelder-Mead").x
    unit = Weibull(1.0, np.exp(log_slope)).level_at(HEARD)
    return np.exp(log_first) * unit, np.exp(log_first + log_change) * unit


def test_a_course_is_that_of_the_likeliest_listener():
    """5,000 answers; Nelder and Mead's simplex (scipy) on the same function finds the same course."""
    rows = answered_over_days(np.random.default_rng(1), HALVED, trials=500, day_to_day=0.0)
    (found,) = trends(rows)
    first, last = likeliest(rows)

    assert (first, last) == (pytest.approx(8, rel=0.1), pytest.approx(4, rel=0.1))
    assert found.band[0].value == pytest.approx(first, rel=0.04)
    assert found.band[-1].value == pytest.approx(last, rel=0.04)
    assert found.change.value == pytest.approx(last / first, rel=0.04)
    assert (found.days, len(found.band), found.finer, found.coarser) == (9, 10, True, False)
    assert found.likely > 0.999


@pytest.mark.long
def test_who_halves_a_threshold_in_ten_days_is_told_so_and_who_does_not_is_not():
    """60 answers a day, of an ear that is 15 % finer or coarser on one day than on another.

    Of 40 learners 29 were told of progress, and of 40 others none; of 8 each, here, 4 or more, and 1 or none.
    """
    rng = np.random.default_rng(2)
    learners = [trends(answered_over_days(rng, HALVED))[0] for _ in range(8)]
    others = [trends(answered_over_days(rng, np.full(10, 6.0)))[0] for _ in range(8)]

    assert sum(one.finer for one in learners) >= 4
    assert sum(one.finer or one.coarser for one in others) <= 1
    assert sum(one.change.covers(0.5) for one in learners) >= 6
    assert sum(one.change.covers(1.0) for one in others) >= 6


def test_several_lines_together_know_more_than_each():
    rng = np.random.default_rng(3)
    rows = answered_over_days(rng, HALVED, trials=30)
    rows += answered_over_days(rng, HALVED, trials=30, interval="major third")
    fifth, third, together = trends(rows)

    assert [one.interval for one in (fifth, third, together)] == ["fifth", "major third", ALL_TOGETHER]
    assert together.band == ()
    width = {one.interval: np.log(one.change.high / one.change.low) for one in (fifth, third, together)}
    # What lines know by themselves adds up, as precision: one over the square of a width.
    known = 1 / width["fifth"] ** 2 + 1 / width["major third"] ** 2
    assert 1 / width[ALL_TOGETHER] ** 2 == pytest.approx(known, rel=0.2)


def test_what_tells_no_course():
    """One day; answers at one level; a handful of answers; answers by eye."""
    rng = np.random.default_rng(4)
    rows = answered_over_days(rng, (8.0, 7.0), trials=20)

    assert len(trends(rows)) == 1
    assert trends(rows[:20]) == trends(rows[6:34]) == ()
    assert trends(answered_over_days(rng, (8.0, 7.0), trials=20, level_cents=5.0)) == ()
    assert trends(answered_over_days(rng, (8.0, 7.0), trials=20, by_ear=False)) == ()


def test_a_course_in_words():
    rng = np.random.default_rng(1)
    (finer,) = trends(answered_over_days(rng, HALVED, trials=200))
    (coarser,) = trends(answered_over_days(rng, HALVED[::-1], trials=200))
    (open_still,) = trends(answered_over_days(rng, (6.0, 5.8, 6.0), trials=20))

    said = trend_in_words(finer)
    assert said.startswith("Fifth, E3 to E4 (which is purer), over 9 days: from ")
    assert "% finer (95 %: " in said
    assert said.endswith("That is progress: chance alone would hardly do it.")
    assert "% coarser (95 %" in trend_in_words(coarser)
    assert "more than chance: tired ears" in trend_in_words(coarser)
    assert trend_in_words(open_still).endswith("That may be chance; more days will tell.")


def test_a_course_is_drawn_as_a_band(tmp_path):
    rows = answered_over_days(np.random.default_rng(1), HALVED, trials=30)
    followed = trends(rows)
    (panel,) = panels(by_day(rows), followed)
    (graph,) = over_days(rows, followed)
    for name, bands in (("plain", ()), ("banded", followed)):
        write_progress(by_day(rows), tmp_path / f"{name}.png", "Ada", bands)

    assert panel.bands == {"fifth, E3 to E4 (purer)": followed[0].band}
    assert panels(by_day(rows))[0].bands == {}
    shape = graph.curves[0].band
    assert len(shape) == 20
    low, high = shape[0], shape[-1]
    assert low[0] == high[0]
    assert low[1] < high[1]
    assert (tmp_path / "plain.png").read_bytes() != (tmp_path / "banded.png").read_bytes()

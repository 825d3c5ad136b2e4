"""Listeners who answer over many days, as rows of a history."""

from datetime import date, timedelta

import numpy as np

from tonegen.ear.psychometric import HEARD, Weibull
from tonegen.ear.rows import Row
from tonegen.ear.staircase import Staircase

FIRST_DAY = date(2026, 3, 1)


def answered_over_days(rng, cents_of_day, *, trials=60, slope=2.0, lapse=0.02, day_to_day=0.15, **changed):
    """Rows of someone who hears `cents_of_day[n]` four times in five on day n, give or take."""
    rows = []
    for day, cents in enumerate(cents_of_day):
        unit = Weibull(1.0, slope, lapse=lapse).level_at(HEARD)
        today = cents * np.exp(rng.normal(0, day_to_day)) / unit
        listener, stairs = Weibull(today, slope, lapse=lapse), Staircase(3, 20.0)
        when = f"{FIRST_DAY + timedelta(days=day)}T18:00:00.000+01:00"
        for number in range(trials):
            right = bool(rng.random() < listener.right(stairs.level))
            fields = {
                "person": "Ada", "session": day, "number": number, "answered": when, "kind": "purer",
                "interval": "fifth", "low_hz": 200.0 + number, "level_cents": stairs.level, "seed": 1,
                "answer": 0.0, "right": right, "error": None,
                "trial": '{"task": {"low_hz": [164.8, 329.6]}}', "by_ear": True,
            }  # fmt: skip
            rows.append(Row(**{**fields, **changed}))
            stairs = stairs.after(right)
    return rows

"""Where displays fell fastest, on days at constant power whose gauges count charge."""

from __future__ import annotations

from collections import Counter

import numpy as np

from kit.analyse import analyse
from kit.drain.gauge import charge_excess
from kit.results import Settings
from kit.session import Session
from kit.show.wording.draining import fastest_phase
from tests.helpers.builders import BARE, make_session

PHASES = 3
LENGTH_MIN = 135


def day(rng: np.random.Generator, last: float = 1.0) -> Session:
    """Return a day of three devices at constant power, in the last phase ``last`` times as much.

    Read by displays that count charge, in whole per cent rounded down.
    """
    readings: dict[str, list[float | None]] = {}
    for device in ("a", "b", "c"):
        per_min = rng.uniform(0.2, 0.225)
        level, seen = 100.0, [100.0]
        for phase in range(PHASES):
            power = per_min * (last if phase == PHASES - 1 else 1.0)
            for _ in range(LENGTH_MIN):
                level -= power * (1.0 + float(charge_excess(level)))
            seen.append(float(np.floor(level)))
        readings[device] = list(seen)
    return make_session(
        phases={f"p{k}": LENGTH_MIN for k in range(PHASES)}, readings=readings, assumptions=BARE
    )


def said(rng: np.random.Generator, days: int, last: float) -> Counter[str]:
    found: Counter[str] = Counter()
    for _ in range(days):
        text = fastest_phase(analyse(day(rng, last), (), Settings(draws=0)), 1)
        if text.endswith("even allowing for how displays behave near empty."):
            found["work"] += 1
        elif text:
            assert text.endswith("some displays fall faster towards empty by themselves.")
            found["open"] += 1
    return found


def test_equal_work_is_never_called_more_and_the_displays_alone_would_have_it() -> None:
    """The displays alone have the last phase fastest on many of 40 days; the work is equal."""
    found = said(np.random.default_rng(5), 40, 1.0)
    assert found["work"] == 0
    assert found["open"] > 10


def test_a_fifth_more_work_is_more_than_the_levels_explain() -> None:
    assert said(np.random.default_rng(6), 20, 1.2)["work"] > 15

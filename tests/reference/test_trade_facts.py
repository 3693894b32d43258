"""Plausibility of a screen-on day with tablets: common practice, no source.

At a fixed brightness of 60 %, screen-on tablets lose about 8 to 21 pp/h depending on the activity
and last 8 to 9.5 h; phases run 60 to 180 min; ties after a phase are common.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.drain.phases import prepare
from kit.drain.projections import projections
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.results import Settings
from kit.session import Device, Gauge
from tests.helpers.builders import COMPLETE_CONDITIONS, make_session

LENGTHS = {"map": 90, "video": 120, "game": 60, "call": 60, "read": 180}
RATES = {"map": 10.5, "video": 9.0, "game": 20.5, "call": 14.0, "read": 8.5}


def day():
    """Five devices within 4 % of each other, at the rates of such a day; truncating displays."""
    readings = {}
    for i, factor in enumerate((0.98, 0.99, 1.0, 1.01, 1.02)):
        left = 100.0 - np.cumsum([0.0, *(RATES[p] * m / 60 * factor for p, m in LENGTHS.items())])
        readings[f"d{i}"] = [float(np.floor(v)) for v in left if v > 0]
    return make_session(
        devices=[Device(id=d, label=d, gauge=Gauge(counts="energy")) for d in readings],
        phases=LENGTHS, readings=readings, conditions=COMPLETE_CONDITIONS,
    )  # fmt: skip


def test_rates_and_hours_of_such_a_day():
    ready = prepare(day())
    rate = ready.drains["displayed"].rate_pp_per_h
    assert np.nanmin(rate) > 7.0
    assert np.nanmax(rate) < 22.0
    mix = {"day": {p: float(m) for p, m in LENGTHS.items()}}
    hours = usage_mixes(day(), Settings(), prepared=ready, mixes=mix)["hours"]
    assert ((hours > 8.0) & (hours < 9.6)).all()


def test_phases_of_that_length_resolve_activities_on_the_display():
    """An hour at 8 pp/h is known to a tenth (0.8 pp); twenty minutes of standby are not."""
    frame = projections(day(), Settings())
    assert not frame["at_least"].any()
    s = make_session(phases={"standby": 20}, readings={"a": [80, 80]})
    assert projections(s, Settings())["at_least"].all()


@pytest.mark.parametrize("phase", ["map", "video"])
def test_ties_after_a_phase_are_common(phase):
    frame = standing(day(), Settings())
    letters = frame[frame["phase"] == phase]["tie_group"]
    assert letters.nunique() < len(letters)

"""The shape of a gauge from the changes of its display, on logs whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from kit.analyse import analyse
from kit.drain.dense_ticks import PhaseTicks
from kit.drain.gauge import charge_excess
from kit.drain.gauge_shape import fitted_share, gauge_shape
from kit.drain.phases import prepare
from kit.report import parts
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Phase
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session


def changes(
    share: float, *, high: float = 95.0, low: float = 25.0, rate: float = 12.0, unit: int = 0,
    spread: float = 0.0, minute: float = 0.0, rng: np.random.Generator | None = None,
) -> PhaseTicks:  # fmt: skip
    """Return the moments at which a display changes under a constant load.

    From one whole step to the next it takes ∫ dL/(rate (1 + share·β(L))), summed in 200 parts.
    """
    level = np.arange(high, low - 0.5, -1.0)
    inside = level[:-1, None] - (np.arange(200) + 0.5) / 200
    took = (1 / (rate * (1 + share * charge_excess(inside)))).mean(axis=1)
    if rng is not None:
        took = took * (1 + spread * rng.standard_normal(took.size))
    t = np.concatenate([[0.0], np.cumsum(took)])
    if rng is not None and minute > 0.0:
        t = t + rng.uniform(-0.5, 0.5, t.size) * minute / 60.0
    return PhaseTicks(unit=unit, phase=0, t=t, u=np.full(t.size, minute / 60 / 12**0.5),
                      level=level)  # fmt: skip


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_share_of_a_gauge_without_noise(share):
    found, u, half = fitted_share([changes(share)], 0.95)
    assert found == pytest.approx(share, abs=0.01)
    assert u < 0.01
    assert half < 0.02


def test_phases_of_unlike_load_are_told_apart_from_a_shape():
    """Four times the load at the low levels: each phase has a rate of its own, the shape is one."""
    phases = [changes(1.0, high=95, low=61), changes(1.0, high=60, low=25, rate=48.0)]
    assert fitted_share(phases, 0.95)[0] == pytest.approx(1.0, abs=0.01)
    # taken for one load, the same changes would be a shape of thirty times that size
    together = np.concatenate([one.per_pp for one in phases])
    beta = charge_excess(np.concatenate([one.middles for one in phases]))
    naive = -np.polyfit(beta, together / together.mean(), 1)[0]
    assert naive > 5.0


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_interval_of_the_share_covers(share):
    """Steps that differ by 5 %, moments within a minute: 95 % are promised, 300 logs."""
    rng = np.random.default_rng(4)
    held, told = 0, 0
    for _ in range(300):
        log = changes(share, spread=0.05, minute=1.0, rng=rng)
        found, _, half = fitted_share([log], 0.95)
        held += abs(found - share) <= half
        told += abs(found - (1 - share)) > half
    assert held >= 0.94 * 300
    # 70 changes over 70 pp are enough to tell which of the two it is in nine logs of ten
    assert told >= 0.85 * 300


@pytest.mark.parametrize(
    ("spread", "minute", "low", "shares"),
    [
        (0.03, 0.0, 25.0, (1.0, 1.0)),
        (0.03, 0.0, 55.0, (0.95, 0.77)),
        (0.05, 1.0, 25.0, (0.82, 0.05)),
        (0.05, 1.0, 55.0, (0.03, 0.0)),
    ],
)
def test_what_it_takes_to_tell(spread, minute, low, shares):
    """As docs/measurement.md says; of 300 logs three standard errors are 7 % at the most."""
    ready = prepare(make_session(phases={"p": 60}, readings={"a": [96, 20]}, assumptions=BARE,
                                 conditions={"power_saver": "off"}))  # fmt: skip
    for counts, expected in zip((0.0, 1.0), shares, strict=True):
        rng = np.random.default_rng(4)
        logs = (changes(counts, low=low, spread=spread, minute=minute, rng=rng) for _ in range(300))
        verdicts = [gauge_shape(ready, Settings(), [log]).iloc[0]["verdict"] for log in logs]
        told = verdicts.count("charge" if counts else "energy") / 300
        assert told == pytest.approx(expected, abs=0.07)


def session_of(share):
    log = changes(share, spread=0.03, rng=np.random.default_rng(12))
    minutes = 60.0 * log.t
    rows = [
        {"device": "a", "phase": "film", "point": "inside", "kind": "tick", "soc_pct": level - 1.0,
         "t_min": t, "t_resolution_min": 0.01}
        for t, level in zip(minutes, log.level + 0.5, strict=True)
    ]  # fmt: skip
    end = float(minutes[-1]) + 1.0
    return make_session(
        phases=[Phase(id="film", label="Film", activity="film", planned_min=end)],
        readings={"a": [96]}, more_readings=rows, assumptions=BARE,
        conditions={**COMPLETE_CONDITIONS, "power_saver": "off"},
    )  # fmt: skip


@pytest.mark.parametrize(("share", "verdict"), [(0.0, "energy"), (1.0, "charge")])
def test_a_noted_log_tells_what_the_gauge_counts(share, verdict):
    results = analyse(session_of(share), (), Settings(draws=0))
    frame = results.extra["gauge_shape"]
    assert tuple(frame.columns) == RESULT_COLUMNS["gauge_shape"]
    row = frame.iloc[0]
    assert (row["device"], row["changes"], row["verdict"]) == ("a", 71, verdict)
    assert row["share"] == pytest.approx(share, abs=0.3)
    # half of a share is left to the cell, whose curve is not known
    assert row["share_high"] - row["share"] >= 0.5 * abs(row["share"])


def test_rates_by_level_of_a_gauge_that_counts_charge():
    """85 % and 35 %: β −5.5 and +2.4 %, so 1.024/0.945 = 1.084 times as fast at the lower one."""
    frame = analyse(session_of(1.0), (), Settings(draws=0)).extra["rate_by_level"]
    assert tuple(frame.columns) == RESULT_COLUMNS["rate_by_level"]
    rate = frame.set_index("level_low_pct")["rate_pp_per_h"]
    beta = charge_excess([85.0, 35.0])
    # ten steps of 3 % each: 1.3 % for a ratio
    assert rate[30.0] / rate[80.0] == pytest.approx((1 + beta[1]) / (1 + beta[0]), rel=0.03)
    held = frame["relative_if_charge"].between(frame["relative_low"], frame["relative_high"])
    assert held.sum() >= len(frame) - 1
    even = frame["relative_low"].le(1.0) & frame["relative_high"].ge(1.0)
    assert even.sum() < held.sum()


def test_the_report_says_it_in_words():
    results = analyse(session_of(1.0), (), Settings(draws=0))
    page = " ".join(
        block.text for item in parts.within(results) for block in getattr(item, "blocks", ())
    )
    assert "so the gauge counts charge" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_without_dense_readings_nothing_is_said():
    s = make_session(phases={"p": 60, "q": 60}, readings={"a": [90, 80, 70]})
    results = analyse(s, (), Settings(draws=0))
    assert results.extra["gauge_shape"].empty
    assert results.extra["rate_by_level"].empty

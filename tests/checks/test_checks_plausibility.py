"""Rules on rates. Clean drains (pp): a 12 15 15 12, b 10 13 13 10, c 14 18 17 14."""

from __future__ import annotations

import numpy as np

from kit.checks.plausibility import median_polish
from kit.session import Assumptions
from tests.helpers.clean_session import DEVICES, READINGS, clean, found, one, with_device


def test_a_confused_digit_is_out_of_line() -> None:
    # b at the end of p2: 47 for 77. Drains of b: 10, 43, −17, 10; p2 of a and c: 15, 18.
    # Expected for b in p2: between 10 and 15 pp.
    session = clean(readings={**READINGS, "b": [100, 90, 47, 64, 54]})
    finding = one(session, "rate-out-of-line")
    # checkpoint 2 of b: line 3 + 3·2 = 9
    assert (finding.severity, finding.line, finding.column) == ("caution", 9, "soc_pct")
    assert (finding.device, finding.phase) == ("b", "p2")
    assert finding.found == "a drain of 43 pp for 'b' in 'p2', from 90 % to 47 %"
    expected = float(finding.expected.split()[1])
    assert 10 < expected < 18
    assert "confused digit" in finding.remedy


def test_a_drain_of_zero_where_a_dozen_is_expected() -> None:
    # ln(0.5/12) = −3.2, limit 3.5 √(0.12² + (0.45/0.5)²) = 3.18
    session = clean(
        readings={
            "a": [100, 86, 69, 52, 38],
            "b": [100, 86, 86, 69, 55],
            "c": [100, 86, 69, 52, 38],
        }
    )
    assert one(session, "rate-out-of-line").found.startswith("a drain of 0 pp for 'b' in 'p2'")


def test_less_than_three_devices_cannot_be_told() -> None:
    session = clean(
        devices=DEVICES[:2],
        readings={"a": READINGS["a"], "b": [100, 90, 47, 44, 34]},
        power_offs={},
    )
    assert not found(session, "rate-out-of-line")


def test_small_drains_never_are_out_of_line() -> None:
    # 1 pp against 3: a factor of 3, but only 2 pp
    session = clean(
        readings={
            "a": [100, 97, 94, 91, 88],
            "b": [100, 97, 96, 93, 90],
            "c": [100, 97, 94, 91, 88],
        }
    )
    assert not found(session, "rate-out-of-line")


def test_clean_rates_are_silent() -> None:
    assert not found(clean(), "rate-out-of-line")
    assert not found(clean(), "rate-implausible")


def test_beyond_plausible_power() -> None:
    # 82 pp in 1 h: (82 − 1) > 80; at 20 Wh: 82/100 × 20 = 16.4 W
    session = with_device(clean(readings={**READINGS, "a": [100, 18]}), "a", rated_energy_wh=20.0)
    finding = one(session, "rate-implausible")
    assert (finding.severity, finding.line, finding.column) == ("caution", 5, "soc_pct")
    assert finding.found == "82 pp in 60 min for 'a' in 'p1', 82 pp/h, 16.4 W"
    assert finding.expected == "at most 80 pp/h (plausible_power_w_per_wh = 0.8)"
    assert "length of the phase" in finding.remedy
    assert not found(clean(readings={**READINGS, "a": [100, 19]}), "rate-implausible")


def test_the_stated_limit_is_used() -> None:
    session = clean(assumptions=Assumptions(plausible_power_w_per_wh=0.16))
    # (18 − 1) pp/h > 16: c in p2 alone
    assert [(f.device, f.phase) for f in found(session, "rate-implausible")] == [("c", "p2")]
    assert "W" not in one(session, "rate-implausible").found


def test_median_polish_against_a_naive_one() -> None:
    rng = np.random.default_rng(11)
    table = rng.normal(size=(6, 5)) + np.arange(6)[:, None] * 2 + np.arange(5)
    table[2, 3] = np.nan

    def naive(data: list[list[float]]) -> list[list[float]]:
        """Sweep medians out of rows and columns ten times, with plain lists."""
        rest = [list(row) for row in data]
        for _ in range(10):
            for row in rest:
                known = sorted(v for v in row if v == v)
                m = _median(known)
                row[:] = [v - m for v in row]
            for j in range(len(rest[0])):
                m = _median(sorted(row[j] for row in rest if row[j] == row[j]))
                for row in rest:
                    row[j] -= m
        return rest

    rest = np.array(naive(table.tolist()))
    known = ~np.isnan(table)
    assert np.allclose((table - median_polish(table))[known], rest[known], atol=1e-9)


def _median(values: list[float]) -> float:
    n = len(values)
    return values[n // 2] if n % 2 else (values[n // 2 - 1] + values[n // 2]) / 2


def test_a_device_without_any_reading_does_not_disturb_the_rest() -> None:
    session = clean(
        devices=(*DEVICES, "d"), readings={**READINGS, "b": [100, 90, 47, 64, 54], "d": []}
    )
    assert [f.device for f in found(session, "rate-out-of-line")] == ["b"]

"""Functions whose hand-worked example is too long for a docstring."""

from __future__ import annotations

import numpy as np
import pytest

from kit.drain.chains import build_chains, search_bounds
from kit.drain.crossover import crossover_rows
from kit.drain.misread_search import Misread, decides_search, misread_observations
from kit.drain.phases import prepare
from kit.drain.rotation import rotation_rows
from kit.drain.split_phases import rows_of_parts
from kit.drain.swaps import with_swaps
from kit.session import Phase
from tests.helpers.builders import BARE, make_session

CROSS = Phase(
    id="x", label="x", kind="crossover", parts=("stream", "forms"), first_half=("a",),
    planned_min=120,
)  # fmt: skip
PLAIN = Phase(id="p", label="p", activity="read", planned_min=60)
TURNS = Phase(
    id="r", label="r", kind="rotation", parts=("scan", "read"), turn_min=20, planned_min=60
)


def inside(device, t, soc, phase="x"):
    return {"device": device, "phase": phase, "point": "inside", "t_min": t, "soc_pct": soc}


def of_crossover():
    """a streams first, b fills in forms first; both are read at the swap after an hour."""
    s = make_session(
        phases=[CROSS], readings={"a": [90, 70], "b": [88, 66]}, assumptions=BARE,
        more_readings=[inside("a", 60, 78), inside("b", 60, 80)],
    )  # fmt: skip
    return prepare(s)


def test_crossover_rows():
    """a: 12 pp streaming, then 8 on forms; b: 8 on forms, then 14 streaming; an hour each.

    stream − forms: 4 and 6, so (4 + 6)/2 = 5 for the activity, (6 − 4)/2 = 1 for the second half.
    A half is a difference of two whole percentages, u = √(2/12) = 0.408 pp/h. a − b is 90 − 78 −
    (78 − 70), coefficients 1, −2, 1: u² = 6/12; the mean of two of them √(0.5 + 0.5)/2 = 0.5.
    """
    ready = of_crossover()
    swaps = with_swaps(ready)
    rows = {(r.device, r.part): r for r in crossover_rows(ready, swaps, 0, 0, 0.95)}
    rates = {key: row.rate for key, row in rows.items()}
    assert rates == {
        ("a", "stream"): 12.0, ("a", "forms"): 8.0, ("b", "stream"): 14.0, ("b", "forms"): 8.0,
        ("", "stream − forms"): 5.0, ("", "second half − first half"): 1.0,
    }  # fmt: skip
    assert rows["a", "stream"].u == pytest.approx((2 / 12) ** 0.5)
    assert rows["", "stream − forms"].u == pytest.approx(0.5)
    assert rows["", "stream − forms"].half_width == pytest.approx(2 * 0.5)


def of_rotation():
    """90 to 78 % reading for an hour; then 78 to 62 % in an hour with 20 minutes of scanning."""
    s = make_session(phases=[PLAIN, TURNS], readings={"a": [90, 78, 62]}, assumptions=BARE)
    return prepare(s)


def test_rotation_rows():
    """40 minutes at 12 pp/h take 8 of the 16 pp; 8 pp in 20 minutes are 24 pp/h of scanning.

    With ρ = (2/3)/1 the readings 90, 78, 62 have the coefficients −ρ, 1 + ρ, −1 in the 8 pp:
    u² = (0.444 + 2.778 + 1)/12 = 0.3519, u = 0.5932 pp, in a third of an hour 1.780 pp/h.
    """
    scan, read = rotation_rows(of_rotation(), 0, 1, 0.95)
    assert (scan.part, read.part) == ("scan", "read")
    assert (scan.rate, read.rate) == (pytest.approx(24.0), 12.0)
    assert (scan.exposure_h, read.exposure_h) == (pytest.approx(1 / 3), pytest.approx(2 / 3))
    assert scan.u == pytest.approx(1.780, abs=5e-4)
    assert read.u == pytest.approx((2 / 12) ** 0.5)


def test_rows_of_parts():
    """Every crossover and rotation, and no plain phase: 4 + 2 rows, and 2."""
    assert len(rows_of_parts(of_crossover(), 0.95)) == 6
    assert [(r.phase, r.part) for r in rows_of_parts(of_rotation(), 0.95)] == [
        ("r", "scan"),
        ("r", "read"),
    ]


def dense():
    """Boundaries at 0, 60 and 120 min, that at 60 not read; 88 % inside at 58 stands for it."""
    s = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, None, 75]},
        more_readings=[inside("a", 58, 88, "p1")],
    )  # fmt: skip
    return s, build_chains(s)


def alternative(chains, at, value):
    return Misread(
        unit=np.array([0]), at=np.array([at]), value=np.array([value]), step=np.array([1.0])
    )


def test_a_number_that_stands_for_a_boundary_is_searched_anew():
    """The reading inside is the third of three; had it been 86, the boundary would stand at 86."""
    s, chains = dense()
    obs = chains.observed
    assert obs.soc.tolist() == [100.0, 75.0, 88.0]
    assert chains.levels.tolist() == [[100.0, 88.0, 88.0, 75.0]]
    other = alternative(chains, 2, 86.0)
    assert decides_search(obs, other, chains.observations).tolist() == [True]
    found = misread_observations(s, obs, search_bounds(chains), other)
    assert found.level[0, found.node[0]].tolist() == [100.0, 86.0, 86.0, 75.0]


def test_a_number_noted_for_a_boundary_between_decides_only_its_level():
    """Read 87 at 60 min, and 99 % inside at 3 min, near no boundary but the first.

    86 in place of 87 changes nothing of what is found elsewhere; 74 in place of 75, the last
    reading of all, changes the mean rate that a search weighs by, and may.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 87, 75]},
        more_readings=[inside("a", 3, 99, "p1")],
    )  # fmt: skip
    chains = build_chains(s)
    obs = chains.observed
    assert obs.soc.tolist() == [100.0, 87.0, 75.0, 99.0]
    between, last = (alternative(chains, at, value) for at, value in ((1, 86.0), (2, 74.0)))
    assert decides_search(obs, between, chains.observations).tolist() == [False]
    assert decides_search(obs, last, chains.observations).tolist() == [True]

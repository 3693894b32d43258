"""Kinds of device worked out by hand, function by function: runtimes, starts, pairs and words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.claims.kind_words import kind_statement, tell_kinds
from kit.claims.kinds import Seen, kind_of, kinds, runtimes_seen
from kit.claims.kinds_compared import compared_kinds, first_percentages, kind_pairs
from kit.claims.verdicts import CANNOT, SUPPORTED
from kit.claims.words import Speech
from kit.drain.readings import observed
from kit.results import Settings
from kit.runtime.runtimes import runtime_pairs, runtimes
from kit.session import Device
from kit.units import NO_BREAK
from tests.helpers.builders import join_runs, make_session, seen

NAN = float("nan")


def unit(name, model="", health=100.0, health_u=0.0):
    return Device(id=name, label=name, model=model, health_pct=health, health_u_pct=health_u)


def once(**minutes):
    """Return a runtime of each device in the one run, its window known without uncertainty."""
    return {name: [Seen(float(value), 0.0, False, 1)] for name, value in minutes.items()}


def test_runtimes_seen():
    # 10 h with u = 0.01 h, ± 0.02 h = 1.2 min at most; still on after 12 h, a bound without u;
    # nothing known of b
    frame = pd.DataFrame({
        "device": ["a", "b", "a"], "runtime_h": [10.0, NAN, 12.0], "runtime_h_u": [0.01, NAN, NAN],
        "right_censored": [False, False, True], "run": [1, 1, 2],
        "runtime_h_low": [9.98, NAN, 12.0], "runtime_h_high": [10.02, NAN, NAN],
    })  # fmt: skip
    assert runtimes_seen(frame) == {
        "a": [
            Seen(600.0, pytest.approx(0.6), False, 1, pytest.approx(1.2)),
            Seen(720.0, 0.0, True, 2, 0.0),
        ]
    }


def test_first_percentages():
    first = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [97, 88]})
    second = make_session(phases={"p1": 60}, readings={"a": [98, 91], "b": [None, 88]})
    both = join_runs(first, second)
    # (100 + 98)/2 for a; b was read at the start of the first run only
    assert first_percentages(both, observed(both)) == {"a": 99.0, "b": 97.0}


def test_kind_of():
    # 600 and 620 min on one day, mean 610; health (80 + 90)/2 = 85 %: 610/0.85 = 717.6 min;
    # u of the health 2 of 85: 610 × 2/85 = 14.35 min. Between units 20/√2/√2 = 10 min, less than
    # the stated 0.03 × 610/√2 = 12.94, which is taken; what another day would change fills up to
    # 18.3: √(18.3² − 12.94²) = 12.94
    session = make_session(
        devices=[unit("a", "M", 80.0, 2.0), unit("b", "M", 90.0, 2.0), unit("c", "N")]
    )
    found = kind_of(session, "M", (0, 1), once(a=600, b=620, c=700))
    assert (found.name, found.devices, found.at_least) == ("M", (0, 1), False)
    assert found.mean_min == pytest.approx(610 / 0.85)
    assert found.factor == pytest.approx(1 / 0.85)
    assert (found.health.u, found.window.u) == pytest.approx((610 * 2 / 85, 0.0))
    assert found.scatter is not None
    assert found.scatter.units.u == pytest.approx(18.3 / math.sqrt(2))
    assert found.scatter.days.u == pytest.approx(18.3 / math.sqrt(2))
    # of a kind that has no runtime nothing is known
    assert math.isnan(kind_of(session, "N", (2,), once(a=600)).mean_min)


def test_kinds():
    # units of one model are one kind, a device without a model is one by itself
    session = make_session(devices=[unit("a", "M"), unit("b"), unit("c", "M")])
    found = kinds(session, once(a=600, b=500, c=640))
    assert [(kind.name, kind.devices, kind.mean_min) for kind in found] == [
        ("M", (0, 2), 620.0), ("b", (1,), 500.0),
    ]  # fmt: skip


def pairs_of(rows, starts=None, devices="ab", **how):
    session = make_session(devices=[unit(name) for name in devices], start=None)
    return compared_kinds(session, kinds(session, rows), starts or {}, Settings(), **how)


def test_compared_kinds():
    # 3 % of 640 and of 580 min, nothing else: 1.96 × 0.03 × √(640² + 580²) = 50.79 min < 60
    (pair,) = pairs_of(once(a=580, b=640))
    assert (pair.a.name, pair.b.name, pair.difference_min, pair.comparisons) == ("b", "a", 60.0, 1)
    assert pair.needed_min == pytest.approx(50.79, abs=0.01)
    assert pair.supported
    # three kinds, 0.05/3 each: 2.394 × 0.03 × √(640² + 580²) = 62.03 min
    three = pairs_of(once(a=580, b=640, c=500), devices="abc")
    assert [(p.a.name, p.b.name) for p in three] == [("b", "a"), ("b", "c"), ("a", "c")]
    assert three[0].needed_min == pytest.approx(62.03, abs=0.01)
    assert [p.supported for p in three] == [False, True, True]
    (only,) = pairs_of(once(a=580, b=640, c=500), devices="abc", asked={frozenset("ab")})
    assert only == three[0]


def test_compared_kinds_that_cannot_be_compared():
    # 100 and 97 % at the start are 3 pp apart, more than the 2 pp allowed; 98 % is not
    assert pairs_of(once(a=580, b=640), {"a": 97.0, "b": 100.0})[0].barred == "start"
    assert pairs_of(once(a=580, b=640), {"a": 98.0, "b": 100.0})[0].barred == ""
    # the shorter runtime is only a bound: the device may have run longer than the other
    still_on = {**once(b=640), "a": [Seen(580.0, 0.0, True, 1)]}
    assert pairs_of(still_on)[0].barred == "open_end"
    assert pairs_of(once(b=640))[0].barred == "no_runtime"


def test_kind_pairs():
    # off in the two minutes from 639 and from 579 on: 640 and 580 in the middle. The window is a
    # trapezoid of no more than ± 1 min, which adds next to nothing to 50.79
    session = make_session(
        devices=[unit("a"), unit("b")], phases={"day": 1000}, start=None,
        power_offs={"a": seen(579, 580), "b": seen(639, 640)},
    )  # fmt: skip
    (pair,) = kind_pairs(session, runtimes(session), Settings())
    assert pair.difference_min == pytest.approx(60.0)
    assert pair.needed_min == pytest.approx(50.79, abs=0.1)


def spoken(rows, **models):
    session = make_session(devices=[unit(name, model) for name, model in models.items()])
    speech = Speech.of(session)
    (pair,) = compared_kinds(session, kinds(session, rows), {}, Settings())
    return speech, pair


def still_on_beside(half):
    """Return the pair of a, on until 600 min at least, and b, off at 560 ± ``half`` min."""
    rows = {"a": [Seen(600.0, 0.0, True, 1)], "b": [Seen(560.0, half / 3**0.5, False, 1, half)]}
    return pairs_of(rows)[0]


def test_a_lead_of_one_still_on_is_the_least_that_the_notes_allow():
    # 600 - (560 + 25) = 15 min; the middle, 40 min, was not seen. The window is in the lead, so
    # only 3 % of each is needed: 1.96 × 0.03 × √(600² + 560²) = 48.26 min
    pair = still_on_beside(25.0)
    assert pair.difference_min == pytest.approx(15.0)
    assert pair.needed_min == pytest.approx(48.26, abs=0.01)
    # two units off at 500 ± 4 and 540 ± 8: at most (504 + 548)/2 = 526; at 80 % health 657.5
    session = make_session(devices=[unit("a", "M", 80.0), unit("b", "M", 80.0)])
    rows = {"a": [Seen(500.0, 0.0, False, 1, 4.0)], "b": [Seen(540.0, 0.0, False, 1, 8.0)]}
    kind = kind_of(session, "M", (0, 1), rows)
    assert (kind.least_min, kind.mean_min, kind.most_min) == pytest.approx((642.5, 650.0, 657.5))


def test_a_start_in_common_is_in_no_lead():
    # A still on when last seen at 600, B off before 561: 39 min, whenever in its minute both began
    session = make_session(
        devices=[unit("A"), unit("B")], phases={"day": 1000},
        power_offs={"B": seen(559, 560)}, still_on={"A": 600.0},
    )  # fmt: skip
    (pair,) = kind_pairs(session, runtimes(session), Settings())
    assert pair.difference_min == pytest.approx(39.0)
    (row,) = runtime_pairs(session).itertuples()
    assert row.difference_min_low == pytest.approx(39.0)


def test_a_lead_that_is_not_sure_is_not_told_as_one():
    # 600 - (560 + 45) = -5 min
    session = make_session(devices=[unit("a"), unit("b")])
    verdict, told = tell_kinds(Speech.of(session), still_on_beside(45.0))
    assert verdict == CANNOT
    assert told.reason.startswith("no lead is sure, ")
    assert told.wording.endswith("not even in this session is it sure to be ahead.")


def test_only_a_declared_pair_is_called_so():
    speech, pair = spoken(once(a=580, b=640), a="", b="")
    assert tell_kinds(speech, pair)[1].method == "t interval of the one pair"
    session = replace(speech.session, declared_comparison=("a", "b"))
    (pair,) = compared_kinds(session, kinds(session, once(a=580, b=640)), {}, Settings())
    assert tell_kinds(Speech.of(session), pair)[1].method == "t interval of the one declared pair"


def test_kind_statement():
    speech, pair = spoken(once(a=580, b=640), a="", b="")
    assert kind_statement(speech, pair) == "A device like b lasts longer than one like a"
    speech, pair = spoken(once(a=580, b=640), a="Whelk 10", b="Dunlin 9")
    text = kind_statement(speech, pair).replace(NO_BREAK, " ")
    assert text == "The model Dunlin 9 lasts longer than the model Whelk 10"


def test_tell_kinds():
    # 60 min, 50.79 needed: 9.21 to 110.79
    verdict, told = tell_kinds(*spoken(once(a=580, b=640), a="", b=""))
    assert verdict == SUPPORTED
    figures = (told.lead, told.lead_low, told.lead_high, told.needed)
    assert figures == pytest.approx((60.0, 9.21, 110.79, 50.79), abs=0.01)
    assert told.wording.replace(NO_BREAK, " ") == (
        "On this record, a device like b can be expected to last longer than one like a, not only "
        "these units on this day: the difference of 1 h is more than another unit or "
        "another day would change (51 min), if units and days differ as is assumed here."
    )
    # 30 min of 610 and 580: 1.96 × 0.03 × √(610² + 580²) = 49.49 needed
    verdict, told = tell_kinds(*spoken(once(a=580, b=610), a="", b=""))
    assert verdict == CANNOT
    assert told.needed == pytest.approx(49.49, abs=0.01)
    assert told.reason.replace(NO_BREAK, " ").startswith("30 min apart, 50 min needed; each from ")
    # of what cannot be compared there is no figure
    verdict, told = tell_kinds(*spoken(once(a=580), a="", b=""))
    assert verdict == CANNOT
    assert np.isnan([told.lead, told.lead_low, told.lead_high, told.needed]).all()
    assert told.reason == "no runtime of one of them was recorded"

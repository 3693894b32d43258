"""Rates of earlier sessions: pooled, matched by device and activity, never over stated ones."""

import shutil

import pytest

from kit.errors import RecordError
from kit.plan.earlier import pooled, session_rates, with_earlier
from kit.plan.file import read_plan
from kit.read.record import read_record
from kit.session import Phase
from tests.helpers.builders import make_session
from tests.helpers.files import SAMPLES
from tests.helpers.plans import make_plan


def test_pooling_by_hand():
    # weights 1 and 1/4: (10 + 13/4)/1.25 = 10.6; u = sqrt(1/1.25) = 0.894;
    # chi² = 0.36 + (2.4/2)² = 1.8, ratio sqrt(1.8) = 1.342
    mean, u = pooled([(10, 1), (13, 2)])
    assert mean == pytest.approx(10.6)
    assert u == pytest.approx(0.894427 * 1.341641, rel=1e-5)
    # agreeing rates are not made surer than their u: sqrt(1/2)
    assert pooled([(10, 1), (10, 1)]) == (10, pytest.approx(0.7071, abs=1e-4))
    assert pooled([(7, 0.5)]) == (7, 0.5)


def test_rates_of_a_session_by_hand():
    # 100, 88, 76 % with hours of map between: 12 pp/h twice; phases named by activity
    phases = (
        Phase(id="p1", label="p1", activity="map", planned_min=60),
        Phase(id="p2", label="p2", activity="map", planned_min=60),
        Phase(id="p3", label="p3", activity="film", planned_min=30),
    )
    session = make_session(phases=phases, readings={"a": [100, 88, 76, 70], "b": [100, 90]})
    found = session_rates(session)
    assert set(found) == {("a", "map"), ("a", "film"), ("b", "map")}
    assert len(found["a", "map"]) == 2
    assert [rate for rate, _ in found["a", "map"]] == pytest.approx([12, 12], abs=0.3)
    assert found["a", "film"][0][0] == pytest.approx(12, abs=0.5)
    assert all(u > 0 for values in found.values() for _, u in values)


def test_parts_of_limited_phases_count_once():
    session, _ = read_record(SAMPLES / "full-day")
    found = session_rates(session)
    assert len(found["limpet", "stream"]) == 1
    assert len(found["limpet", "guide"]) == 1  # p4; not again from the rotation p5
    assert len(found["limpet", "call"]) == 1


def test_earlier_rates_fill_what_the_plan_does_not_state():
    plan = make_plan(
        devices=("limpet", "stranger"),
        phases={"map": 60.0, "photo": 60.0},
        rates={"limpet": {"map": 5.0}},
        earlier=("full-day",),
    )
    filled, findings = with_earlier(plan, SAMPLES, "plan.toml")
    assert findings == ()
    known = filled.forecasts["limpet"]
    assert known.rates_pp_per_h["map"] == 5.0
    assert "map" not in known.sources
    assert known.rates_pp_per_h["photo"] == pytest.approx(15.75, abs=0.3)
    assert known.sources["photo"] == "earlier"
    assert 0.2 < known.rates_u["photo"] < 0.7
    assert filled.forecasts["stranger"].rates_pp_per_h == {}


def test_runs_behind_the_rates_are_counted():
    session, _ = read_record(SAMPLES / "replicates")
    name = session.devices[0].id
    plan = make_plan(devices=(name,), phases={"map": 60.0}, earlier=("replicates", "full-day"))
    filled, _ = with_earlier(plan, SAMPLES, "plan.toml")
    in_full_day = name in {d.id for d in read_record(SAMPLES / "full-day")[0].devices}
    assert filled.forecasts[name].rates_runs == len(session.runs) + in_full_day


PLAN = """
[session]
id = "d"
[plan]
earlier = ["NAME"]
[[devices]]
id = "limpet"
[[phases]]
id = "p"
activity = "photo"
planned_min = 60
"""


def test_plan_file_takes_the_rates_relative_to_itself(tmp_path):
    shutil.copytree(SAMPLES / "full-day", tmp_path / "before")
    path = tmp_path / "plan.toml"
    path.write_text(PLAN.replace("NAME", "before"))
    plan, findings = read_plan(path)
    assert findings == ()
    assert "photo" in plan.forecasts["limpet"].rates_pp_per_h


@pytest.mark.parametrize("broken", [False, True])
def test_earlier_session_that_cannot_be_used_is_an_error(tmp_path, broken):
    if broken:
        (tmp_path / "before").mkdir()
        (tmp_path / "before" / "log.csv").write_text(
            "event,phase,point,device,soc_pct\nreading,p,end,a,107\n"
        )
    path = tmp_path / "plan.toml"
    path.write_text(PLAN.replace("NAME", "before"))
    with pytest.raises(RecordError) as error:
        read_plan(path)
    (finding,) = [f for f in error.value.findings if f.severity == "error"]
    assert (finding.rule, finding.column) == ("plan-earlier", "plan.earlier")
    assert "before" in finding.found
    assert ("does not pass" in finding.found) == broken
    assert "relative to the plan file" in finding.expected

"""Readings that a conclusion hangs on: found, pointed to, and confirmed from the record."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.claims import claims
from kit.claims.doubts import reading_doubts
from kit.claims.load_bearing import bearing
from kit.drain.phases import prepare
from kit.read.record import read_record
from kit.results import RESULT_COLUMNS, Settings
from tests.helpers.builders import BARE, join_runs, make_session
from tests.helpers.files import SAMPLES


def seen(on, off, **more):
    return {"last_on_min": float(on), "first_off_min": float(off), **more}


def day(readings, **fields):
    count = max(len(values) for values in readings.values()) - 1
    phases = {f"p{k}": 60 for k in range(1, count + 1)}
    return make_session(
        **{"readings": readings, "phases": phases, "assumptions": BARE, "start": None, **fields}
    )


def found(session):
    frame = bearing(session, Settings()).readings
    frame["statement"] = frame["statement"].str.replace("\u00a0", " ")
    return frame


def judged(session):
    frame = claims(session, Settings())
    frame["statement"] = frame["statement"].str.replace("\u00a0", " ")
    return frame


def test_one_point_of_the_deciding_reading():
    # p2: A 10 pp, B 13 pp: 3 > 2.0, supported. A's 81 read as 80 makes it 11: 2 > 2 fails.
    session = day({"A": [97, 91, 81, 70], "B": [97, 91, 78, 67]})
    frame = found(session)
    assert tuple(frame.columns) == RESULT_COLUMNS["load_bearing"]
    drained = frame[frame["statement"] == "A drained least in phase 2 (“p2”)"]
    a = drained[(drained["device"] == "A") & (drained["phase"] == "p2")].iloc[0]
    assert (a["noted"], a["instead"], a["slip"]) == ("81 %", "80 %", "one off")
    assert (a["verdict"], a["verdict_if_misread"]) == ("supported", "tied")
    readings = session.readings
    row = readings[(readings["device"] == "A") & (readings["phase"] == "p2")].iloc[0]
    assert a["line"] == row["line"]
    # B's 78 read as 79, and both numbers at the start of the phase, do the same
    assert {(r.device, r.phase) for r in drained.itertuples()} == {
        ("A", "p1"), ("A", "p2"), ("B", "p1"), ("B", "p2"),
    }  # fmt: skip
    assert set(drained["rank"]) == {1, 2, 3, 4}


def test_verdict_if_misread_is_that_of_the_changed_record():
    session = read_record(SAMPLES / "full-day")[0]
    frame = found(session)
    assert frame["rank"].max() > 0
    readings = session.readings
    for r in frame[frame["what"] == "reading"].head(12).itertuples():
        at = readings.index[readings["line"] == r.line]
        other = readings.copy()
        other.loc[at, "soc_pct"] = float(r.instead.split()[0])
        again = judged(replace(session, readings=other))
        # the sentence asked about may no longer be the one to ask: look it up where it still is
        now = again[again["statement"] == r.statement]["verdict"].tolist()
        assert now in ([r.verdict_if_misread], []) or r.verdict_if_misread == "cannot_be_said"


def test_evidence_pointers_are_those_of_the_record():
    session = read_record(SAMPLES / "full-day")[0]
    frame = found(session)
    lines = session.readings.set_index("line")["evidence"]
    for r in frame[frame["what"] == "reading"].itertuples():
        assert r.evidence == lines[r.line]
    assert (frame["evidence"] != "").any()


def test_most_dangerous_first():
    session = read_record(SAMPLES / "full-day")[0]
    frame = found(session)
    first = frame.drop_duplicates("rank")
    assert first["rank"].is_monotonic_increasing
    # a supported claim that one point off would take away comes before digits confused
    assert (first.iloc[0]["verdict"], first.iloc[0]["slip"]) == ("supported", "one off")
    for _, group in frame.groupby("rank"):
        assert group[["device", "line", "column"]].drop_duplicates().shape[0] == 1
        assert (group["affected"] == len(group)).all()


def test_minutes_of_a_power_off():
    # A [843, 847), B [838, 842): apart by 1 min. A last seen on at 842 instead of 843: still
    # apart. B first seen off at 842 ([838, 843)) still apart; ten off is not: tied.
    session = make_session(
        devices=["A", "B"], phases={"day": 1000}, start=None,
        power_offs={"A": seen(843, 846, evidence="clip 7"), "B": seen(838, 841)},
    )  # fmt: skip
    frame = found(session)
    assert set(frame["what"]) == {"power-off"}
    a = frame[(frame["device"] == "A") & (frame["point"] == "last seen on")].iloc[0]
    assert (a["noted"], a["instead"], a["slip"]) == ("14:03", "13:53", "ten off")
    assert (a["verdict"], a["verdict_if_misread"]) == ("supported", "tied")
    assert a["evidence"] == "clip 7"
    # only minutes that keep the order of the notes are asked: never on after off
    assert not frame[frame["point"] == "last seen on"]["instead"].str.startswith("14:1").any()


def test_clock_times_are_told_as_the_clock_showed_them():
    session = make_session(
        devices=["A", "B"], phases={"day": 1000},
        power_offs={"A": seen(363, 366), "B": seen(358, 361)},
    )  # fmt: skip
    frame = found(session)
    assert "14:03" in frame["noted"].tolist()


def test_noted_minute_alone_can_be_load_bearing():
    session = day(
        {"A": [97, 55, 12], "B": [97, 55, 12]},
        power_offs={"A": 140.0, "B": 136.0},
        assumptions=replace(BARE, off_check_min=2.0),
    )
    frame = found(session)
    noted = frame[frame["point"] == "noted off"]
    assert not noted.empty
    assert set(noted["column"]) == {"noted_min"}


def test_impossible_readings_are_not_asked():
    # The display does not rise: B's 78 after 91 and before 77 can have been 77..91 only.
    session = day({"A": [97, 91, 81, 80], "B": [97, 91, 78, 77]})
    frame = found(session)
    b = frame[(frame["device"] == "B") & (frame["phase"] == "p2")]
    instead = b["instead"].str.split().str[0].astype(float)
    assert ((instead >= 77) & (instead <= 91)).all()


def test_nothing_below_what_was_seen_at_the_power_off_is_asked():
    # B read 71, then 39, and 36 was seen before it powered off at 130. 39 may have been 38, 40, 49
    # (29 lies below 36), and 59 (3 for 5; 89 and the exchanged 93 lie above 71, 34 below 36).
    session = day(
        {"A": [97, 71, 40], "B": [97, 71, 39]},
        phases={"p1": 60, "p2": 60, "p3": 60},
        power_offs={"A": 160.0, "B": {"noted_min": 130.0, "soc_pct": 36.0}},
    )
    ready = prepare(session)
    asked = [d for d in reading_doubts(ready, 0) if d.device == 1 and d.noted == 39]
    assert {d.slip.value for d in asked} == {38, 40, 49, 59}


def test_charged_device_may_rise():
    charge = [{"device": "B", "phase": "p3", "start_min": 125.0, "end_min": 130.0}]
    session = day({"A": [97, 91, 81, 80], "B": [97, 91, 78, 77]}, charges=charge)
    b = found(session).query("device == 'B' and phase == 'p2'")
    assert not b.empty


def test_a_charge_before_the_start_lets_no_display_rise():
    # B's 91 lies between 97 and 78, whatever was charged the night before
    night = [{"device": "B", "start_min": -600.0, "end_min": -60.0}]
    session = day({"A": [97, 91, 81], "B": [97, 91, 78]}, charges=night)
    asked = [d for d in reading_doubts(prepare(session), 0) if (d.device, d.noted) == (1, 91)]
    assert asked
    assert all(78 <= d.slip.value <= 97 for d in asked)


def test_untimed_readings_have_neighbours_too():
    timed = day({"A": [97, 91, 81, 70], "B": [97, 91, 78, 67]})
    untimed = day({"A": [97, 91, 81, 70], "B": [97, 91, 78, 67]}, timed=False)
    columns = ["rank", "statement", "device", "phase", "instead"]
    pd.testing.assert_frame_equal(found(timed)[columns], found(untimed)[columns])


def three_runs():
    """Runs of A and B: apart by 1 min, by 0 min, and the other way round by more than an hour.

    A digital clock: seen on at 843 and off at 846 leaves [843, 847). Run 1: A [843, 847), B
    [838, 842). Run 2: B [838, 843). Run 3: B [950, 954).
    """

    def run(off, on=838):
        return make_session(
            devices=["A", "B"], phases={"day": 1000}, start=None,
            power_offs={"A": seen(843, 846), "B": seen(on, off)},
        )  # fmt: skip

    return join_runs(run(841), run(842), run(953, on=950))


def test_one_order_over_all_runs():
    # Run 1: A seen on at 842 still leaves no other order (842 ≥ 842): it takes ten off. Run 2: A
    # seen on at 842, or B off at 843, and they share a minute: one off is enough, so both come
    # first. The means differ by 5, 4.5 and −107 min, run by run: tied whatever ten minutes do.
    frame = found(three_runs())
    first = frame.drop_duplicates("rank")
    assert first["rank"].tolist() == list(range(1, len(first) + 1))
    assert first["run"].tolist()[:2] == [2, 2]
    assert set(first["slip"][:2]) == {"one off"}
    assert {(r.device, r.point) for r in first[:2].itertuples()} == {
        ("A", "last seen on"), ("B", "first seen off"),
    }  # fmt: skip
    assert set(first[first["run"] == 1]["slip"]) == {"ten off"}
    assert set(first["run"]) == {1, 2}


def test_sentences_are_those_of_the_table():
    frame = found(three_runs())
    assert set(frame["statement"]) == {
        "A lasted longest (run 1)", "A outlasted B (run 1)",
        "A lasted longest (run 2)", "A outlasted B (run 2)",
    }  # fmt: skip


def test_what_no_slip_changes_is_named():
    # B is 103 min ahead in run 3, and the runs say nothing of the means: no slip of minutes does.
    robust = bearing(three_runs(), Settings()).robust
    assert tuple(robust.columns) == RESULT_COLUMNS["robust_claims"]
    rows = [(r.run, r.statement.replace("\u00a0", " "), r.verdict) for r in robust.itertuples()]
    assert rows[0][0] == 0
    assert rows[0][2] in ("tied", "cannot_be_said")
    assert ("B lasted longest (run 3)", "supported") in [(t, v) for _, t, v in rows]
    assert not {r[1] for r in rows} & set(found(three_runs())["statement"])


def three_means(*leads):
    """Return runs in which A's power-off is that many minutes after B's; both windows are 2 min."""

    def run(lead):
        return make_session(
            devices=["A", "B"], phases={"day": 1000}, start=None,
            power_offs={"A": seen(625 + lead, 626 + lead), "B": seen(625, 626)},
        )  # fmt: skip

    return replace(join_runs(*map(run, leads)), declared_comparison=("A", "B"))


def test_a_mean_over_runs_hangs_on_a_slip_of_ten():
    # Leads 9, 10, 11: mean 10, s = 1, t(2) = 4.303: 4.303/√3 = 2.48; two windows of 2 min leave
    # 2 (1 − √0.05) = 1.55; together 2.93 < 10: supported. A of run 1 seen on ten minutes before,
    # its window is 12 min, its middle 5 earlier: leads 4, 10, 11, mean 8.33, s = 3.79, 4.303 s/√3
    # = 9.41 > 8.33: tied. In run 2: 9, 5, 11, s = 3.06: 7.59, windows of 12 and 2 min 5.90,
    # together 9.62 > 8.33: tied. In run 3: 9, 10, 6, s = 2.08: 5.17 and 5.90, 7.85 < 8.33: still
    # supported.
    # Off ten minutes later in run 1: 14, 10, 11, mean 11.67, 7.85: supported.
    frame = found(three_means(9, 10, 11))
    mean = frame[frame["statement"] == "A ran longer than B on average"]
    ten = {(r.run, r.device, r.point) for r in mean.itertuples() if r.slip == "ten off"}
    assert {("A", "last seen on", 1), ("A", "last seen on", 2)} == {
        (device, point, run) for run, device, point in ten if device == "A"
    }
    assert {(r.verdict, r.verdict_if_misread) for r in mean.itertuples()} == {("supported", "tied")}
    assert not {r.slip for r in mean.itertuples()} & {"one off"}


def test_nothing_to_ask():
    alone = make_session(devices=["A"], phases={"day": 60}, readings={"A": [97, 91]})
    assert bearing(alone, Settings()).readings.empty


def test_first_reading_from_full_is_asked_too():
    # At a known full charge the first reading is exact. Had A's been 99, A would have drained 18
    # and not 19 of 100 over the day, against 22 of B, which is enough on the mix of the day.
    session = day({"A": [100, 91, 81], "B": [100, 91, 78]})
    frame = found(session)
    at_start = frame[(frame["phase"] == "p1") & (frame["point"] == "start")]
    assert {(r.device, r.noted, r.instead) for r in at_start.itertuples()} == {
        ("A", "100 %", "99 %"),
    }  # fmt: skip
    assert at_start["statement"].str.startswith("On “as in this session”").all()


def test_screening_misses_nothing_that_matters():
    # Every ±1 of every reading, computed from scratch: what changes a claim of the table must
    # be in the (unlimited) list, and nothing else with that slip.
    session = day({"A": [97, 90, 76, 64], "B": [97, 86, 75, 66], "C": [97, 89, 77, 61]})
    base = judged(session)
    base = base[(base["priority"] <= 2) & (base["kind"] == "this_session")]
    expected = set()
    readings = session.readings
    for i in range(len(readings)):
        for step in (-1.0, 1.0):
            other = readings.copy()
            other.loc[i, "soc_pct"] += step
            levels = other[other["device"] == other.loc[i, "device"]].sort_values("t_min")
            if (levels["soc_pct"].diff().dropna() > 0).any() or other.loc[i, "soc_pct"] > 100:
                continue
            again = judged(replace(session, readings=other)).set_index("statement")
            for r in base.itertuples():
                if r.statement in again.index and again.loc[r.statement, "verdict"] != r.verdict:
                    expected.add((r.statement, int(readings.loc[i, "line"])))
    frame = found(session)
    listed = {(r.statement, r.line) for r in frame.itertuples()}
    assert expected
    assert expected <= listed


def dense_day(per_min=60):
    """Three devices in a log of a reading a second, off a few minutes apart."""
    t = np.arange(0, 120, 1 / per_min)
    rows = []
    for k in range(3):
        level = np.floor(97 - (0.40 - 0.01 * k) * t)
        rows.append(
            pd.DataFrame({"device": f"d{k}", "t_min": t, "soc_pct": level, "kind": "reading"})
        )
    base = make_session(
        devices=["d0", "d1", "d2"], phases={"p1": 60, "p2": 60}, start=None,
        power_offs={f"d{k}": seen(122 + 5 * k, 124 + 5 * k) for k in range(3)},
    )  # fmt: skip
    readings = pd.concat(rows, ignore_index=True).sort_values("t_min", kind="stable")
    blank = base.readings.reindex(range(len(readings)))
    filled = blank.assign(
        run=1, phase="p1", point="inside", order=0, by="", evidence="", note="",
        t_resolution_min=1 / per_min, line=np.arange(len(readings)) + 2,
        **{c: readings[c].to_numpy() for c in ("device", "t_min", "soc_pct", "kind")},
    )  # fmt: skip
    return replace(base, readings=filled)


def test_dense_log_is_as_robust_as_it_looks():
    # A reading a second: no single one can move a drain by a percentage point, but the noted
    # minutes of the power-offs are as load-bearing as ever.
    session = dense_day()
    assert len(session.readings) > 20_000
    assert set(found(session)["what"]) == {"power-off"}
    thin = found(dense_day(per_min=10))
    assert len(dense_day(per_min=10).readings) < 20_000
    assert set(thin["what"]) == {"power-off"}


def test_power_off_is_not_asked_back_before_the_last_reading():
    # A and B noted off at 147 and 143, looked at every 2 min: [145, 148), [141, 144). A was read
    # at 138, so 137 (ten off) is not asked about.
    session = day(
        {"A": [97, 52, 9], "B": [97, 52, 9]},
        more_readings=[
            {"device": "A", "phase": "p3", "point": "inside", "t_min": 138.0, "soc_pct": 4}
        ],
        phases={"p1": 60, "p2": 60, "p3": 60},
        power_offs={"A": 147.0, "B": 143.0},
        assumptions=replace(BARE, off_check_min=2.0),
    )
    frame = found(session)
    noted = frame[frame["point"] == "noted off"].set_index("device")["instead"]
    assert "2:17" not in set(noted.get("A", pd.Series(dtype=str)))
    assert len(noted) > 0

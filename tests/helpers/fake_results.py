"""Results made by hand, for tests of what is shown and said; no measurement model in here.

``fake_results(session)`` fills the frames of ``kit.results.RESULT_COLUMNS`` from a session with
plain subtraction and fixed uncertainties (u = 0.41 pp, interval ± 0.8 pp displayed, ± 4 pp true
charge) and runtimes whose window is ``[last on, first off]``. The figures are consistent with
each other, which is all that the tests of wording and layout need. ``rows`` makes a frame out of
a few cells, to put one situation in place of the computed one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from kit.errors import Finding
from kit.results import RESULT_COLUMNS, Results, Settings
from kit.session import Phase, Session
from kit.stats.order import (
    least_lead,
    p_longer,
    p_longest,
    rank_intervals,
    surely_above,
    tie_letters,
)
from tests.helpers.builders import COMPLETE_CONDITIONS, make_session

NAN = float("nan")
TEXT_COLUMNS = """
phase device measurand status method flags source description distribution unit basis reference
tie_group device_a device_b verdict_single verdict_table verdict activity part quantity
verdict_declared
unit_symbol why kind code group phase_from phase_to statement reason wording what point column
noted instead slip evidence verdict_if_misread
"""
TEXT = frozenset(TEXT_COLUMNS.split())
FLAGS = frozenset(("agrees", "right_censored", "at_least", "ranked"))


def rows(name: str, items: Iterable[Mapping[str, Any]] = ()) -> pd.DataFrame:
    """Return the result frame ``name``; cells not given are NaN, "" or False."""
    items = list(items)
    unknown = {key for item in items for key in item} - set(RESULT_COLUMNS[name])
    assert not unknown, f"{name} has no column {sorted(unknown)}"

    def blank(column: str) -> Any:
        if column in TEXT:
            return ""
        if column in FLAGS:
            return False
        return 1 if column == "run" else NAN

    return pd.DataFrame(
        {c: [item.get(c, blank(c)) for item in items] for c in RESULT_COLUMNS[name]},
        columns=list(RESULT_COLUMNS[name]),
    )


def field_day(**changes: Any) -> Session:
    """Return five devices in four phases: a tie at the end, a survivor, one off in mid-phase."""
    given: dict[str, Any] = {
        "devices": ("limpet", "periwinkle", "kelpfin", "dunlin", "whelk"),
        "phases": (
            Phase(id="browse", label="Browsing the tide tables", activity="browsing",
                  planned_min=60),
            Phase(id="stream", label="Streaming video", activity="streaming", planned_min=120),
            Phase(id="draw", label="Drawing maps", activity="drawing", planned_min=90),
            Phase(id="empty", label="Streaming until empty", activity="streaming",
                  kind="until_empty"),
        ),
        "readings": {
            "limpet": [100, 90, 66, 40],
            "periwinkle": [100, 91, 68, 41],
            "kelpfin": [100, 92, 75, 55],
            "dunlin": [100, 88, 58, 24],
            "whelk": [100, 85, 40],
        },
        "power_offs": {
            "limpet": {"phase": "empty", "noted_min": 450.0, "last_on_min": 448.0,
                       "first_off_min": 450.0, "soc_pct": 1.0},
            "periwinkle": {"phase": "empty", "noted_min": 451.0, "last_on_min": 449.0,
                           "first_off_min": 451.0, "soc_pct": 1.0},
            "dunlin": {"phase": "empty", "noted_min": 360.0, "last_on_min": 357.0,
                       "first_off_min": 360.0, "soc_pct": 2.0},
            "whelk": {"phase": "draw", "noted_min": 250.0, "last_on_min": 247.0,
                      "first_off_min": 250.0, "soc_pct": 3.0},
        },
        "still_on": {"kelpfin": 510.0},
        "lengths": {"empty": 240.0},
        "stop_min": 510.0,
        "conditions": COMPLETE_CONDITIONS,
        "title": "Tablets for the tide-pool survey",
    }  # fmt: skip
    return make_session(**{**given, **changes})


def _level(session: Session, run: int, device: str, boundary: int) -> float:
    frame = session.readings
    mine = frame[(frame.run == run) & (frame.device == device) & (frame.point != "inside")]
    order = [p.id for p in session.phases]
    for point, key in (("start", boundary), ("end", boundary - 1)):
        if 0 <= key < len(order):
            hit = mine[(mine.phase == order[key]) & (mine.point == point)].soc_pct
            if len(hit):
                return float(hit.iloc[0])
    return NAN


def _drains(session: Session) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for run in session.runs:
        spans = session.spans[session.spans.run == run.number].set_index("phase")
        offs = session.power_offs[session.power_offs.run == run.number].set_index("device")
        for place, phase in enumerate(session.phases):
            for device in session.devices:
                start = _level(session, run.number, device.id, place)
                end = _level(session, run.number, device.id, place + 1)
                hours = float(spans.duration_min.get(phase.id, NAN)) / 60
                status = "measured" if end == end and start == start else "no_reading"
                if status == "no_reading" and device.id in offs.index:
                    off = offs.loc[device.id]
                    if off.phase == phase.id and not off.still_on:
                        status, end = "died", off.soc_pct
                        hours = (off.noted_min - spans.start_min[phase.id]) / 60
                    elif not off.still_on:
                        status = "not_reached"
                for measurand, half in (("displayed", 0.8), ("true_charge", 4.0)):
                    drain = start - end
                    out.append(
                        {
                            "run": run.number, "phase": phase.id, "device": device.id,
                            "measurand": measurand, "status": status, "start_pct": start,
                            "end_pct": end, "duration_h": hours, "duration_h_u": 0.007,
                            "drain_pp": drain, "drain_pp_u": half / 1.96,
                            "drain_pp_low": max(drain - half, 0), "drain_pp_high": drain + half,
                            "rate_pp_per_h": drain / hours, "rate_pp_per_h_u": half / 1.96 / hours,
                            "rate_pp_per_h_low": max(drain - half, 0) / hours,
                            "rate_pp_per_h_high": (drain + half) / hours, "method": "gum",
                        }
                    )  # fmt: skip
    return out


def _order(low: np.ndarray, high: np.ndarray) -> dict[str, Any]:
    p = p_longer(low, high)
    above = surely_above(least_lead(low, high))
    best, worst = rank_intervals(above)
    return {"p": p, "best": best, "worst": worst, "letters": tie_letters(above)}


def _runtimes(session: Session) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    single: list[dict[str, Any]] = []
    pairs: list[dict[str, Any]] = []
    ids = [d.id for d in session.devices]
    for run in session.runs:
        offs = session.power_offs[session.power_offs.run == run.number].set_index("device")
        on = offs.last_on_min.reindex(ids).to_numpy()
        still = offs.still_on.reindex(ids).eq(True).to_numpy()
        off = np.where(still, np.inf, offs.first_off_min.reindex(ids).to_numpy())
        order = _order(on, off)
        first = p_longest(on, off)
        for k, device in enumerate(ids):
            known = on[k] == on[k]
            single.append(
                {
                    "run": run.number, "device": device,
                    "status": "still_on" if still[k] else "observed" if known else "not_recorded",
                    "runtime_h": on[k] / 60 if still[k] else (on[k] + off[k]) / 120,
                    "runtime_h_u": NAN if still[k] else (off[k] - on[k]) / 60 / 12**0.5,
                    "runtime_h_low": on[k] / 60,
                    "runtime_h_high": NAN if still[k] else off[k] / 60,
                    "right_censored": bool(still[k]), "off_low_min": on[k],
                    "off_high_min": NAN if still[k] else off[k],
                    "last_soc_pct": float(offs.soc_pct.get(device, NAN)),
                    "rank_best": int(order["best"][k]), "rank_worst": int(order["worst"][k]),
                    "tie_group": order["letters"][k], "p_longest": first[k],
                    "basis": "last seen on and first seen off were noted",
                }
            )  # fmt: skip
        for a, b in combinations(range(len(ids)), 2):
            p = order["p"][a, b]
            verdict = "a" if p >= 0.95 else "b" if p <= 0.05 else "too_close"
            pairs.append(
                {
                    "run": run.number, "device_a": ids[a], "device_b": ids[b], "p_a_longer": p,
                    "difference_min_low": on[a] - off[b], "difference_min_high": off[a] - on[b],
                    "verdict": "unknown" if p != p else verdict,
                }
            )  # fmt: skip
    return single, pairs


def _standing(session: Session) -> list[dict[str, Any]]:
    out = []
    for run in session.runs:
        for place, phase in enumerate(session.phases):
            level = np.array(
                [_level(session, run.number, d.id, place + 1) for d in session.devices]
            )
            order = _order(level - 0.5, level + 0.5)
            for k, device in enumerate(session.devices):
                known = level[k] == level[k]
                out.append(
                    {
                        "run": run.number, "phase": phase.id, "device": device.id,
                        "soc_pct": level[k], "total_drain_pp": 100 - level[k],
                        "total_drain_pp_u": 0.41, "total_drain_pp_low": 99.2 - level[k],
                        "total_drain_pp_high": 100.8 - level[k],
                        "rank_best": int(order["best"][k]) if known else NAN,
                        "rank_worst": int(order["worst"][k]) if known else NAN,
                        "tie_group": order["letters"][k] if known else "",
                        "status": "measured" if known else "no_reading",
                    }
                )  # fmt: skip
    return out


def _drain_pairs(drains: pd.DataFrame) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for (run, phase, measurand), group in drains.groupby(["run", "phase", "measurand"], sort=False):
        for a, b in combinations(group.itertuples(), 2):
            half = 1.12 if measurand == "displayed" else 6.0
            difference = a.drain_pp - b.drain_pp
            ok = a.status == b.status == "measured"

            def verdict(margin: float, difference: float = difference, ok: bool = ok) -> str:
                if not ok:
                    return "not_compared"
                return "a" if difference < -margin else "b" if difference > margin else "tie"

            out.append(
                {
                    "run": run, "phase": phase, "device_a": a.device, "device_b": b.device,
                    "measurand": measurand, "difference_pp": difference if ok else NAN,
                    "difference_pp_low": difference - half, "difference_pp_high": difference + half,
                    "margin_single_pp": half, "margin_table_pp": 1.8 * half,
                    "verdict_single": verdict(half), "verdict_table": verdict(1.8 * half),
                }
            )  # fmt: skip
    return out


def fake_results(session: Session | None = None, *, findings: tuple[Finding, ...] = (),
                 coverage: float = 0.95, **frames: pd.DataFrame) -> Results:  # fmt: skip
    """Return consistent results of ``session`` (default: ``field_day()``); frames replace."""
    session = field_day() if session is None else session
    drains = rows("phase_drain", _drains(session))
    runtimes, pairs = _runtimes(session)
    shown = drains[drains.measurand == "displayed"]
    results = Results(
        session=session,
        settings=Settings(coverage=coverage),
        findings=findings,
        phase_drain=drains,
        agreement=rows(
            "agreement",
            [
                {
                    "run": d.run,
                    "phase": d.phase,
                    "device": d.device,
                    "measurand": "displayed",
                    "gum_low": d.drain_pp_low,
                    "gum_high": d.drain_pp_high,
                    "mc_low": d.drain_pp_low + 0.02,
                    "mc_high": d.drain_pp_high - 0.02,
                    "mc_u": 0.41,
                    "tolerance_pp": 0.05,
                    "agrees": True,
                }
                for d in shown.itertuples()
                if d.status == "measured"
            ],
        ),
        contributions=rows(
            "contributions",
            [
                {
                    "run": d.run,
                    "phase": d.phase,
                    "device": d.device,
                    "measurand": "displayed",
                    "source": "resolution",
                    "u_pp": 0.41,
                    "share": 1.0,
                }
                for d in shown.itertuples()
                if d.status == "measured"
            ],
        ),
        budget=rows(
            "budget",
            [
                {
                    "source": "resolution",
                    "description": "Whole percentages at both ends",
                    "distribution": "triangular",
                    "value": 1.0,
                    "unit": "pp",
                    "effect_pp": 0.41,
                    "basis": "type B",
                    "reference": "GUM F.2.2.1",
                },
            ],
        ),
        standing=rows("standing", _standing(session)),
        drain_pairs=rows("drain_pairs", _drain_pairs(drains)),
        runtimes=rows("runtimes", runtimes),
        runtime_pairs=rows("runtime_pairs", pairs),
        projections=rows(
            "projections",
            [
                {
                    "run": d.run,
                    "phase": d.phase,
                    "device": d.device,
                    "activity": session.phase(d.phase).activity,
                    "hours": 100 / d.rate_pp_per_h,
                    "hours_low": 100 / d.rate_pp_per_h_high,
                    "hours_high": 100 / d.rate_pp_per_h_low,
                    "at_least": False,
                    "ranked": d.status == "measured",
                }
                for d in shown.itertuples()
            ],
        ),
        energy=rows(
            "energy",
            [
                {"run": d.run, "phase": d.phase, "device": d.device, "flags": "no_rated_energy"}
                for d in shown.itertuples()
            ],
        ),
        parts=rows("parts"),
        replicates=rows("replicates"),
    )
    return replace(results, **frames)

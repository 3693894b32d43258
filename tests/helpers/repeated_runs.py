"""Sessions of several runs from the minutes of their power-offs, and tables made of them."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from kit.results import RESULT_COLUMNS
from kit.runtime.runtimes import runtimes
from tests.helpers.builders import join_runs, make_session, seen

__all__ = ["NO_DRAIN", "drains", "of_models", "runs_of", "table"]

NO_DRAIN = pd.DataFrame({c: [] for c in RESULT_COLUMNS["phase_drain"]})


def runs_of(offs, *, still_on=(), devices=None):
    """Return a session; ``offs`` = device -> minute last seen on per run (None: not in the run).

    Seen off at the next minute: with a stopwatch the window [minute, minute + 2).
    """
    count = len(next(iter(offs.values())))
    ids = devices or list(offs)
    sessions = [
        make_session(
            devices=ids,
            phases={"day": 1000},
            power_offs={
                d: seen(m[r], m[r] + 1)
                for d, m in offs.items()
                if m[r] is not None and (d, r) not in still_on
            },
            still_on={d: float(m[r]) for d, m in offs.items() if (d, r) in still_on},
            start=None,
        )
        for r in range(count)
    ]
    return join_runs(*sessions) if count > 1 else sessions[0]


def drains(rows):
    """Return a phase_drain frame; ``rows`` = (run, device, drain, half-width, u)."""
    return pd.DataFrame(
        [
            {
                **dict.fromkeys(RESULT_COLUMNS["phase_drain"], float("nan")),
                "run": run, "phase": "p1", "device": device, "measurand": "displayed",
                "status": "measured", "drain_pp": d, "drain_pp_low": d - h,
                "drain_pp_high": d + h, "drain_pp_u": u, "flags": "",
            }
            for run, device, d, h, u in rows
        ]
    )  # fmt: skip


def table(function, session, phase_drain=NO_DRAIN):
    """Return what a function makes of a session, its runtimes and drains."""
    return function(session, runtimes(session), phase_drain)


def of_models(session, **models):
    """Return the session with the models of its devices named."""
    devices = tuple(replace(d, model=models.get(d.id, "")) for d in session.devices)
    return replace(session, devices=devices)

"""Days of three tablets that need not be alike: charged, other settings, another start."""

from __future__ import annotations

from kit.session import Device
from tests.helpers.builders import join_runs, make_session, seen

__all__ = ["unlike_day", "unlike_runs"]


def unlike_day(*, charges=(), offs=None, conditions=None, starts=(100, 100, 100)):
    """Return three tablets: Limpet off at 420 min, Periwinkle at 480, Dunlin at 380."""
    given = conditions or {}
    names = {"li": "Limpet 10", "pe": "Periwinkle 8", "du": "Dunlin 9"}
    return make_session(
        devices=[Device(id=k, label=v, conditions=given.get(k, {})) for k, v in names.items()],
        phases={"map": 60, "film": 120, "rest": 600},
        readings={
            d: [start, start - fell, start - 2 * fell - (15 if d == "du" else 10)]
            for (d, fell), start in zip({"li": 15, "pe": 16, "du": 17}.items(), starts, strict=True)
        },
        power_offs=offs or {"li": seen(420, 422), "pe": seen(480, 482), "du": seen(380, 382)},
        charges=[{"run": 1, "device": d, "start_min": t, "end_min": t + 30} for d, t in charges],
        start=None,
    )


def unlike_runs(conditions=None, charged_in=()):
    """Return three such days as runs, in some of which Periwinkle was charged."""
    days = [
        unlike_day(
            conditions=conditions,
            charges=[("pe", 65.0)] if run in charged_in else [],
            offs={"li": seen(420 + k, 422 + k), "pe": seen(480 + k, 482 + k),
                  "du": seen(380 + 2 * k, 382 + 2 * k)},
        )
        for run, k in ((1, 0), (2, 3), (3, 1))
    ]  # fmt: skip
    return join_runs(*days)

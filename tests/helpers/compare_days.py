"""Days for tests of comparisons: power-offs to the minute, one phase until empty."""

from datetime import date

from kit.compare.analysis import compare
from kit.compare.settings import CompareSettings
from kit.session import Assumptions, Device, Phase
from tests.helpers.builders import COMPLETE_CONDITIONS, make_session

__all__ = ["UNTIL_EMPTY", "compared", "day", "device", "pair"]

UNTIL_EMPTY = (Phase(id="p1", label="Map", activity="map", kind="until_empty"),)
CONDITIONS = {**COMPLETE_CONDITIONS}


def device(name, **fields):
    """Return a device whose software and health are recorded."""
    given = {"label": name, "software": "T 1", "health_pct": 98.0, "health_u_pct": 1.0, **fields}
    return Device(id=name, **given)


def day(number, offs, *, still_on=None, devices=None, conditions=None, cv=0.03, **fields):
    """Return a session in which each device was seen on and off in the minute given."""
    still_on = still_on or {}
    row = devices or [device(name) for name in (*offs, *still_on)]
    given = {
        "id": f"day-{number}",
        "date": date(2026, 5, number),
        "phases": UNTIL_EMPTY,
        "assumptions": Assumptions(run_unit_cv=cv),
        "sources": (),
        **fields,
    }
    return make_session(
        devices=row,
        power_offs={
            k: {"last_on_min": m, "first_off_min": m, "noted_min": m} for k, m in offs.items()
        },
        still_on=still_on,
        conditions=CONDITIONS if conditions is None else conditions,
        **given,
    )


def compared(*sessions, **settings):
    """Return the comparison of sessions."""
    return compare([(s, ()) for s in sessions], CompareSettings(**settings))


def pair(found, first, second):
    """Return the pair of two entries by name, and the sign to read it first minus second."""
    names = [e.name for e in found.standing.field.entries]
    return found.standing.pair(names.index(first), names.index(second))

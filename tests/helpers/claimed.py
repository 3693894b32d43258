"""Days to make claims about, and the claims that are made."""

from __future__ import annotations

from kit.claims import claims
from kit.results import Settings
from tests.helpers.builders import BARE, make_session

__all__ = ["day", "one", "table"]


def day(readings, **fields):
    """Return a day of hours without any uncertainty but that of whole percentages."""
    count = max(len(values) for values in readings.values()) - 1
    fields = {
        "phases": {f"p{k}": 60 for k in range(1, count + 1)},
        "assumptions": BARE,
        "start": None,
        **fields,
    }
    return make_session(readings=readings, **fields)


def table(session, settings=None, **where):
    """Return the claims whose columns have these values."""
    frame = claims(session, settings or Settings())
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame


def one(session, **where):
    """Return the only claim whose columns have these values."""
    frame = table(session, **where)
    assert len(frame) == 1, frame[["code", "device_a", "device_b", "phase_from", "verdict"]]
    return frame.iloc[0]

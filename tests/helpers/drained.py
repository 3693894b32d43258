"""The drain of one phase, its ends and its flags."""

from __future__ import annotations

from kit.drain.phases import phase_drain
from kit.results import Settings

__all__ = ["ends", "flags", "row"]


def row(session, phase, device="a", measurand="displayed", run=1, coverage=0.95):
    """Return the row of one device in one phase."""
    frame = phase_drain(session, Settings(coverage=coverage))
    keep = (frame["phase"] == phase) & (frame["device"] == device) & (frame["run"] == run)
    return frame[keep & (frame["measurand"] == measurand)].iloc[0]


def ends(found, quantity="drain_pp"):
    """Return a quantity and the ends of its interval, to two decimals."""
    return [round(float(found[f"{quantity}{part}"]), 2) for part in ("", "_low", "_high")]


def flags(found):
    """Return the flags of a row."""
    return set(found["flags"].split(";")) - {""}

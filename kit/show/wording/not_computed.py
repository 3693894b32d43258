"""What this report does not have, and why: one line each, instead of empty sections."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["not_computed"]


def _empty(results: Results, name: str, column: str = "") -> bool:
    frame = results.extra.get(name)
    if frame is None:
        return False
    return frame.empty or bool(column and not frame[column].notna().any())


def not_computed(results: Results) -> tuple[str, ...]:
    """Return what could not be computed and what it would have taken."""
    devices = results.session.devices
    several = len(results.session.runs) > 1
    lines = (
        (
            _empty(results, "mixes", "hours_low"),
            "hours on a mix of activities: no two activities have a usable phase of every device, "
            "and no mix in the setup file can be had",
        ),
        (
            _empty(results, "reference_repeats"),
            "the shape of the gauge from a repeated phase: no device did the same activity early "
            "and again late in phases that can be compared",
        ),
        (
            _empty(results, "within_phase", "ratio"),
            "evenness within a phase: it takes five changes of the display in it, noted or in a "
            "dense log",
        ),
        (
            _empty(results, "specific_power", "power_mw_per_cm2"),
            "power per display area: no device has a rated energy and the size and pixels of its "
            "display recorded",
        ),
        (
            not _empty(results, "specific_power", "power_mw_per_cm2")
            and _empty(results, "specific_power", "power_mw_per_cd"),
            "power per luminance: no measured luminance was recorded",
        ),
        (
            _empty(results, "endurance_index") and bool(devices),
            "the endurance index: no device has a nominal voltage, a rated capacity and a runtime",
        ),
        (
            not several and _empty(results, "survival"),
            "scatter, survival curves and tests over runs: every device ran once",
        ),
    )
    return tuple(text for applies, text in lines if applies)

"""Codes of the result frames in plain words: flags, statuses, sources of uncertainty."""

from __future__ import annotations

from kit.drain.flags import FLAGS

__all__ = ["SOURCE_WORDS", "flag_text", "source_text", "status_text"]

FLAG_WORDS: dict[str, str] = {
    **FLAGS,
    "not_ranked": "Not ranked between devices.",
    "charged_before": "The device was charged before the end of this phase, so it has no place "
    "beside the others.",
    "charged_run": "The device was charged in a run, which is left out.",
    "no_rated_energy": "The rated energy of the battery was not recorded.",
    "lower_bound": "A run was not seen to its end, so only a bound is known.",
    "few_runs_to_count": "So few runs, counted without assuming how they scatter, decide nothing, "
    "however they come out.",
    "one_run": "One run only, so no scatter.",
    "no_scatter_seen": "All runs gave the same value, so only the resolution is in the interval.",
    "no_value": "No run gave a value.",
    "one_unit": "One unit only.",
    "one_day": "The units ran side by side in too few runs to tell what a day does to all of them: "
    "the interval is for other units on such a day, not for other days.",
    "too_few_runs": "Too few runs in common for a scatter, so no interval and no verdict.",
    "declared": "The comparison declared before the session, judged by itself.",
    "monte_carlo": "The interval is that of the Monte Carlo calculation, which here reaches "
    "further than the closed form.",
}

STATUS_WORDS = {
    "measured": "–",
    "died": "powered off",
    "not_reached": "off before",
    "off": "off",
    "no_reading": "no reading",
    "saturated": "100 % throughout",
    "split": "shared phase",
    "unknown_length": "length unknown",
    "observed": "seen off",
    "still_on": "still on",
    "not_recorded": "not recorded",
}

SOURCE_WORDS = {
    "resolution": "resolution of the display",
    "rounding": "rounding of the display",
    "reading_time": "time of reading",
    "gauge": "gauge deviation",
    "gap": "unlogged time",
    "full_start": "charge at the start",
    "full_hold": "display held at 100 %",
    "off_percentage": "percentage at the power-off",
    "wake": "looking at the device",
    "phase_length": "length of the phase",
    "gauge_curve": "shape of the gauge",
    "rated_energy": "rated energy",
    "health": "battery health",
    "reciprocal": "rate turned into hours",
    "power_off": "minutes of the power-off",
    "start": "minute of the start",
    "between_units": "scatter between units",
    "between_runs": "scatter between runs",
    "each_run": "each run by itself",
}


def _plain(code: str) -> str:
    return code.replace("_", " ").replace("-", " ")


def flag_text(code: str) -> str:
    """Return what a flag means; an unknown code as plain words.

    Examples
    --------
    >>> flag_text("some_new_code")
    'some new code'
    """
    return FLAG_WORDS.get(code, _plain(code))


def status_text(status: str) -> str:
    """Return a status in the words of a table cell.

    Examples
    --------
    >>> status_text("not_reached"), status_text("no_reading")
    ('off before', 'no reading')
    """
    return STATUS_WORDS.get(status, _plain(status))


def source_text(source: str) -> str:
    """Return a source of uncertainty in words.

    Examples
    --------
    >>> source_text("gap"), source_text("some_new_source")
    ('unlogged time', 'some new source')
    """
    return SOURCE_WORDS.get(source, _plain(source))

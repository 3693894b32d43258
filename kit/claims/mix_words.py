"""Who lasts longest on a mix of activities, as the report says it."""

from __future__ import annotations

__all__ = ["longest_on", "none_on", "on_mix"]


def on_mix(mix: str, run: int | None) -> str:
    """Return the name of a mix, and of the run where there are several.

    Examples
    --------
    >>> on_mix("field day", None), on_mix("field day", 2)
    ('“field day”', '“field day” in run 2')
    """
    return f"“{mix}”" if run is None else f"“{mix}” in run {run}"


def longest_on(where: str, device: str) -> str:
    """Return the sentence that a device lasts longest.

    Examples
    --------
    >>> longest_on(on_mix("field day", None), "Whelk 10")
    'On “field day”, Whelk 10 lasts longest'
    """
    return f"On {where}, {device} lasts longest"


def none_on(where: str) -> str:
    """Return the sentence that it is open who does.

    Examples
    --------
    >>> none_on(on_mix("field day", 2))
    'On “field day” in run 2 no one device can be called the longest-lasting'
    """
    return f"On {where} no one device can be called the longest-lasting"

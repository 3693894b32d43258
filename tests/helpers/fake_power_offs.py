"""Results in which nothing but the power-offs matters, for tests of what is said of them."""

from __future__ import annotations

from typing import Any

from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results

__all__ = ["of_offs", "off"]


def off(last_on: float, first_off: float) -> dict[str, Any]:
    """Return a power-off between two looks."""
    return {"noted_min": first_off, "last_on_min": last_on, "first_off_min": first_off}


def of_offs(offs: dict[str, tuple[float, float]], still: dict[str, float] | None = None) -> Any:
    """Return results in which nothing but the power-offs matters."""
    devices = (*offs, *(still or {}))
    session = make_session(
        devices=devices,
        phases={"p1": 60},
        readings={d: [100, 90] for d in devices},
        power_offs={d: off(*times) for d, times in offs.items()},
        still_on=still or {},
        stop_min=600.0,
    )
    return fake_results(session)

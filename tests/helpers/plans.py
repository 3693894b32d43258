"""Plans built by hand, for the tests of everything that works on a `Plan`."""

from datetime import UTC, date, datetime
from typing import Any

from kit.plan.planned import DeviceForecast, Plan
from kit.session import Device, Phase

START = datetime(2026, 6, 6, 8, 0, tzinfo=UTC)


def make_plan(
    *,
    devices: tuple[str, ...] = ("a", "b", "c", "d"),
    phases: dict[str, float | None] | tuple[Phase, ...] = (),
    rates: dict[str, dict[str, float]] | None = None,
    rates_u_pct: float = 5.0,
    seconds: float = 15.0,
    **fields: Any,
) -> Plan:
    """Return a plan; ``phases`` as {id: minutes} have their id as label and activity."""
    if isinstance(phases, dict):
        phases = tuple(
            Phase(
                id=name, label=name, activity=name, planned_min=minutes,
                kind="plain" if minutes else "until_empty",
            )
            for name, minutes in phases.items()
        )  # fmt: skip
    return Plan(
        **{
            "id": "test-plan",
            "title": "Test plan",
            "date": date(2026, 6, 6),
            "start": START,
            "devices": tuple(
                Device(id=d, label=d.upper(), position=i) for i, d in enumerate(devices, start=1)
            ),
            "phases": phases,
            "reading_seconds": dict.fromkeys(devices, seconds),
            "forecasts": {
                device: DeviceForecast(rates_pp_per_h=by_activity, rates_u_pct=rates_u_pct)
                for device, by_activity in (rates or {}).items()
            },
            **fields,
        }
    )

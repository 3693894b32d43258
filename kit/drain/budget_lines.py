"""Lines of the uncertainty budget, and those of what is not a drain.

Energy and power rest on the battery as well, runtimes on the minutes that were noted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.rated_energy import (
    DEFAULT_TOLERANCE_PCT,
    HEALTH_U_DEFAULT_PCT,
    HEALTH_UNKNOWN,
    HEALTH_UNKNOWN_HALF_WIDTH,
    rated_energy,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from kit.drain.off_times import OffTimes
    from kit.session import Session

__all__ = ["Line", "other_lines"]

_STATED = "stated in the setup file"
_ASSUMED = "default of the kit, an assumption, not measured"


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of the budget before its effect is known; ``sources`` are keys of SOURCES."""

    source: str
    sources: tuple[str, ...]
    description: str
    distribution: str
    value: str
    unit: str
    basis: str
    reference: str


def _basis(stated: Sequence[bool]) -> str:
    if all(stated):
        return _STATED
    return f"{_STATED} in part, else {_ASSUMED}" if any(stated) else _ASSUMED


def _span(values: Sequence[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def other_lines(session: Session, off_times: Sequence[OffTimes]) -> Iterator[Line]:
    """Yield the lines of the sources that make no drain uncertain, as far as they have a part.

    Parameters
    ----------
    session
        The record.
    off_times
        Bounds of the power-offs, one for each run.

    Examples
    --------
    Last seen on at 5:00 and first seen off at 5:03, by a digital clock: off before 5:04, four
    minutes wide; the start noted as 8:00 lies before 8:01, one minute wide:

    >>> from kit.drain.off_times import off_times
    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(phases={"p1": 600}, readings={"a": [90]}, power_offs={"a": seen(300, 303)})
    >>> for line in other_lines(s, off_times(s)):
    ...     print(line.source, "·", line.value, line.unit)
    shape of the gauge · ½ ± ½ of the effect
    rate turned into hours · 8 × fourth power of the relative u
    minutes of the power-off · 4 min wide
    minute of the start · 1 min wide
    """
    rated = [d for d in session.devices if rated_energy(d) is not None]
    if rated:
        yield from _battery(session)
    yield Line(
        source="shape of the gauge", sources=(),
        description="for projected hours, mixes, energy and power: at the same power a gauge that "
        "counts charge falls faster towards empty; half of that is taken off",
        distribution="rectangular, added linearly", value="½ ± ½", unit="of the effect",
        basis="what a gauge counts and the curve of its cell are seldom known; a repeated phase "
        "may say more",
        reference="derived in docs/measurement.md",
    )  # fmt: skip
    yield Line(
        source="rate turned into hours", sources=(),
        description="for projected hours and mixes: what a straight line leaves out, since the "
        "same error of a rate makes more hours on one side than on the other",
        distribution="of the second order", value="8", unit="× fourth power of the relative u",
        basis="follows from the other sources", reference="JCGM 100:2008, 5.1.2, note",
    )  # fmt: skip
    widths = np.concatenate([o.high - o.low for o in off_times]) if off_times else np.zeros(0)
    seen = widths[np.isfinite(widths)]
    if seen.size:
        yield Line(
            source="minutes of the power-off", sources=(),
            description="for runtimes: from the minute in which a device was last seen on to that "
            "in which it was first seen off; the bounds always hold",
            distribution="rectangular", value=_span(seen.tolist()), unit="min wide",
            basis="how the power-offs were noted", reference="JCGM 100:2008, 4.3.7",
        )  # fmt: skip
        starts = np.concatenate([o.start_high - o.start_low for o in off_times])
        if (starts > 0.0).any():
            yield Line(
                source="minute of the start", sources=(),
                description="for runtimes; it drops out between devices started together",
                distribution="rectangular", value=_span(starts.tolist()), unit="min wide",
                basis="how the start was noted", reference="JCGM 100:2008, 4.3.7",
            )  # fmt: skip


def _battery(session: Session) -> Iterator[Line]:
    """Yield the lines of what turns percentages into watt-hours."""
    rated = [d for d in session.devices if rated_energy(d) is not None]
    tolerance = [d.rated_energy_tol_pct for d in rated]
    yield Line(
        source="rated energy", sources=(),
        description="for energy and power: tolerance of the rated energy, the same in all phases "
        "of a device",
        distribution="rectangular",
        value="±" + _span([DEFAULT_TOLERANCE_PCT if t is None else t for t in tolerance]),
        unit="%", basis=_basis([t is not None for t in tolerance]),
        reference="JCGM 100:2008, 4.3.7",
    )  # fmt: skip
    known = [d for d in rated if d.health_pct is not None]
    us = [HEALTH_U_DEFAULT_PCT if d.health_u_pct is None else d.health_u_pct for d in known]
    texts = [f"u = {_span(us)} %"] if us else []
    if len(known) < len(rated):
        texts.append(f"{HEALTH_UNKNOWN:g} ± {HEALTH_UNKNOWN_HALF_WIDTH:g} where not recorded")
    yield Line(
        source="battery health", sources=(),
        description="for energy and power: full-charge capacity as a share of the rated one",
        distribution="normal, or rectangular where it is not recorded", value="; ".join(texts),
        unit="", basis=_basis([d.health_u_pct is not None for d in rated]),
        reference="derived in docs/measurement.md",
    )  # fmt: skip

"""When each phase really began and ended.

Noted times are used where there are any (log first, then setup file). Where there are none, a
planned length is laid after the end of the phase before; readings at the end of the phase that
were made later than that move it, for then time was lost before it. A phase of unknown length
has no times unless both its ends were noted, or, when no length at all was planned, unless both
its boundaries were read with a time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.session import Assumptions, Phase

__all__ = ["PLANNED_U_MIN", "Noted", "Span", "phase_spans"]

SpanSource = Literal["", "clock", "elapsed", "planned", "reading"]

PLANNED_U_MIN = 0.05
"""Standard uncertainty of a length kept by a timer (min): 3 s. Common practice, no source."""

LATE_READING_MIN = 1.0
"""Readings at a planned end may be this much later than reading delay and resolution explain."""


@dataclass(frozen=True, kw_only=True)
class Noted:
    """A time noted for the start or end of a phase (min since start, how finely, by what)."""

    t_min: float
    resolution_min: float
    source: SpanSource
    line: int = 0


@dataclass(frozen=True, kw_only=True)
class Span:
    """Start and end of one phase of one run; columns as in the frame ``spans``."""

    phase: str
    start_min: float = math.nan
    end_min: float = math.nan
    start_source: SpanSource = ""
    end_source: SpanSource = ""
    duration_min: float = math.nan
    duration_u_min: float = math.nan
    t_resolution_min: float = math.nan
    line: int = 0
    early_reading_min: float = field(default=math.nan)
    """Where readings at the end were made before a planned end: their time (else NaN)."""


def phase_spans(
    phases: Sequence[Phase],
    *,
    starts: Mapping[str, Noted],
    ends: Mapping[str, Noted],
    start_readings: Mapping[str, Noted],
    end_readings: Mapping[str, Noted],
    origin: Noted,
    last: Noted | None,
    assumptions: Assumptions,
) -> tuple[Span, ...]:
    r"""Return the span of each phase, in their order.

    Parameters
    ----------
    starts, ends
        Phase id → time noted for its start and end.
    start_readings, end_readings
        Phase id → the earliest reading at its start and end that has a time.
    origin
        Time zero, at which the first phase starts unless another start was noted. Elapsed
        time counts from it, so that an elapsed 0 is exact.
    last
        The end of a run until empty: when all devices were off, or the session was stopped.

    Notes
    -----
    A time noted to a resolution r lies evenly within r, so that the length between two noted
    ends has

    .. math:: u^2(L) = (r_1^2 + r_2^2) / 12 ,

    0.41 min for whole minutes at both ends; an end that was not noted itself is besides off by up
    to the reading delay, evenly.
    A planned length is kept by a timer. A stated ``phase_length_u_min`` replaces all of these.

    References
    ----------
    JCGM 100:2008 (GUM), F.2.2.1: resolution of a digital indication.

    Examples
    --------
    >>> from kit.session import Assumptions, Phase
    >>> spans = phase_spans(
    ...     [Phase(id="a", label="a", planned_min=60), Phase(id="b", label="b", planned_min=30)],
    ...     starts={"b": Noted(t_min=63.0, resolution_min=1, source="clock")},
    ...     ends={}, start_readings={}, end_readings={},
    ...     origin=Noted(t_min=0.0, resolution_min=1, source="clock"), last=None,
    ...     assumptions=Assumptions(),
    ... )
    >>> [(s.start_min, s.end_min, s.end_source, s.duration_u_min) for s in spans]
    [(0.0, 60.0, 'planned', 0.05), (63.0, 93.0, 'planned', 0.05)]
    """
    spans: list[Span] = []
    before: Noted | None = origin
    for i, phase in enumerate(phases):
        start, end = starts.get(phase.id), ends.get(phase.id)
        if i == 0 and (start is None or (start.source == "elapsed" and start.t_min == 0)):
            start = replace(origin, line=0 if start is None else start.line)
        if end is None and phase.kind == "until_empty" and i == len(phases) - 1:
            end = last
        until = phase.kind == "until_empty"
        span = _span(
            phase,
            start if start is not None else (before if until else None),
            end,
            before,
            start_readings.get(phase.id),
            end_readings.get(phase.id),
            assumptions,
        )
        spans.append(span)
        before = None
        if not math.isnan(span.end_min):
            before = Noted(
                t_min=span.end_min,
                resolution_min=0.0 if end is None else end.resolution_min,
                source=span.end_source,
            )
    return tuple(spans)


def _span(
    phase: Phase,
    start: Noted | None,
    end: Noted | None,
    before: Noted | None,
    start_reading: Noted | None,
    end_reading: Noted | None,
    assumptions: Assumptions,
) -> Span:
    planned = phase.planned_min
    early = math.nan
    if start is not None and end is not None:
        length, u = end.t_min - start.t_min, _ends_u(start, end, assumptions)
    elif planned is not None:
        length, u = planned, PLANNED_U_MIN
        start, end, early = _planned(
            planned, start, end, before, end_reading, assumptions.reading_delay_min
        )
    else:
        start = start or start_reading
        end = end or end_reading
        if start is not None and end is not None and end.t_min > start.t_min:
            length, u = end.t_min - start.t_min, _ends_u(start, end, assumptions)
        else:
            length = u = math.nan
    stated = assumptions.phase_length_u_min
    if stated is not None and not math.isnan(length):
        u = stated
    return Span(
        phase=phase.id,
        start_min=math.nan if start is None else start.t_min,
        end_min=math.nan if end is None else end.t_min,
        start_source="" if start is None else start.source,
        end_source="" if end is None else end.source,
        duration_min=length,
        duration_u_min=u,
        t_resolution_min=max(
            (n.resolution_min for n in (start, end) if n is not None), default=math.nan
        ),
        line=next((n.line for n in (start, end) if n is not None and n.line), 0),
        early_reading_min=early,
    )


def _planned(
    planned: float,
    start: Noted | None,
    end: Noted | None,
    before: Noted | None,
    end_reading: Noted | None,
    delay_min: float,
) -> tuple[Noted | None, Noted | None, float]:
    """Lay a planned length at the one noted end, or after the phase before."""

    def plan(t_min: float) -> Noted:
        return Noted(t_min=t_min, resolution_min=0.0, source="planned")

    early = math.nan
    if start is None and end is None:
        if before is None:
            return None, None, early
        start = plan(before.t_min)
        if end_reading is not None:
            late = end_reading.t_min - (before.t_min + planned)
            slack = delay_min + end_reading.resolution_min + LATE_READING_MIN
            if late > slack:
                start = plan(end_reading.t_min - planned)
            elif late < -slack:
                early = end_reading.t_min
        return start, plan(start.t_min + planned), early
    if start is None and end is not None:
        from_end = end.t_min - planned
        return plan(from_end if before is None else max(from_end, before.t_min)), end, early
    assert start is not None
    if end_reading is not None:
        slack = delay_min + end_reading.resolution_min + LATE_READING_MIN
        if end_reading.t_min < start.t_min + planned - slack:
            early = end_reading.t_min
    return start, plan(start.t_min + planned), early


def _ends_u(start: Noted, end: Noted, assumptions: Assumptions) -> float:
    """Return u of a length between two ends; one that was not noted is besides late or early."""
    late = sum(n.source not in ("clock", "elapsed") for n in (start, end))
    u2 = (
        start.resolution_min**2 + end.resolution_min**2 + late * assumptions.reading_delay_min**2
    ) / 12
    return math.sqrt(u2)

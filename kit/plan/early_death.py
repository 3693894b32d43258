"""What a power-off in the middle of a limited phase leaves comparable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.plan.schedules import exposure
from kit.units import duration

if TYPE_CHECKING:
    from kit.plan.schedules import Schedule

__all__ = ["EarlyDeath", "exposure_if_dies"]


@dataclass(frozen=True, kw_only=True)
class EarlyDeath:
    """What a power-off in a limited phase leaves comparable.

    Parameters
    ----------
    device, t_min
        Who powers off, when (minutes since the start of the phase).
    limited_min, other_min
        Minutes that the device did of each part.
    planned_min
        Minutes of the limited part planned for every device.
    has_both
        Whether the device finished its share of the limited part and had time in the other.
    common_min
        Minutes of the limited part that every device of the row has, this one included: what a
        comparison with it may use.
    others_min
        Minutes of the limited part of the others at the end, if their turns stay as planned.
    empty_group
        Whether its group has no device left, so that part and order can no longer be told apart.
    advice
        What keeps the rest fair, in sentences.
    """

    device: str
    t_min: float
    limited_min: float
    other_min: float
    planned_min: float
    has_both: bool
    common_min: float
    others_min: float
    empty_group: bool
    advice: tuple[str, ...]


def exposure_if_dies(schedule: Schedule, device: str, t_min: float) -> EarlyDeath:
    """Return how exposure stays fair if a device powers off in the phase.

    The turns of all others stay where they are: moving them up would give them another place
    than planned, and giving the free place to somebody would give that device more than its
    share.

    Parameters
    ----------
    t_min
        Minutes since the start of the phase.

    Raises
    ------
    KeyError
        If the device is not in the schedule.

    Examples
    --------
    In two halves of 30 minutes, b, which was to stream second, powers off after 40 minutes: it
    has streamed for 10 of 30.

    >>> from kit.plan.schedules import crossover
    >>> s = crossover("abcd", at_once=2, length_min=60, parts=("stream", "video"))
    >>> e = exposure_if_dies(s, "b", 40)
    >>> e.limited_min, e.other_min, e.has_both, e.common_min, e.others_min
    (10.0, 30.0, False, 10.0, 30.0)
    """
    if device not in schedule.devices:
        raise KeyError(device)
    t_min = min(max(t_min, 0.0), schedule.length_min)
    planned = exposure(schedule)
    limited = exposure(schedule, t_min)[device]
    changes = sum(
        max(0.0, min(b.start_min, t_min) - min(a.end_min, t_min))
        for a, b in zip(schedule.turns, schedule.turns[1:], strict=False)
    )
    other = t_min - changes - limited
    others = min(m for d, m in planned.items() if d != device)
    has_both = limited >= planned[device] and other > 0
    group = next(g for g in schedule.groups if device in g)
    empty = len(group) == 1
    advice = [
        f"Leave the place of {device} empty and every other turn where it is: the others keep "
        f"{duration(others)} of {schedule.parts[0]} each."
    ]
    if has_both:
        advice.append(f"{device} has its full share; compare it with all others.")
    elif limited > 0:
        advice.append(
            f"Compare {device} with the others over {duration(limited)} of {schedule.parts[0]} "
            "only, by a reading of all at that time; leave both its parts out of the comparison "
            "of the two parts."
        )
    else:
        advice.append(
            f"{device} has had no {schedule.parts[0]}: it has no value for it, and both its parts "
            "stay out of the comparison of the two parts."
        )
    if empty and schedule.kind == "crossover":
        advice.append(
            "Its group is empty now: the difference of the parts and the effect of their order "
            "cannot be told apart any more."
        )
    return EarlyDeath(
        device=device,
        t_min=t_min,
        limited_min=limited,
        other_min=other,
        planned_min=planned[device],
        has_both=has_both,
        common_min=min(limited, others),
        others_min=others,
        empty_group=empty,
        advice=tuple(advice),
    )

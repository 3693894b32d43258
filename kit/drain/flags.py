"""What there is to say about a single drain: codes, their sentences, and where they apply."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chains import device_conditions
from kit.drain.gauge import saver_thresholds
from kit.drain.model import HELD_FULL_LONG_MIN, saturated

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.model import Drains

    Bools = NDArray[np.bool_]
    Texts = NDArray[np.object_]

__all__ = [
    "FLAGS",
    "LITTLE_CHARGE_PCT",
    "NOT_TYPICAL",
    "SHORT_EXPOSURE_H",
    "SMALL_DRAIN_PP",
    "UNRANKED",
    "flag_matrix",
    "join_flags",
]

SHORT_EXPOSURE_H = 20.0 / 60.0
LITTLE_CHARGE_PCT = 5.0
SMALL_DRAIN_PP = 3.0
NOTED_MIN_MIN = 1.0

FLAGS: Mapping[str, str] = {
    "warm_up": "The phase is a warm-up and is not evaluated.",
    "from_full": "The phase starts from a full charge, so the unknown rounding of the display "
    "does not cancel.",
    "start_assumed_full": "No percentage was read at the start; it is taken as 100 % because "
    "the conditions state a full charge.",
    "may_contain_sync": "The first phase may contain work that a device does after it was "
    "unplugged and unlocked, such as synchronising.",
    "held_full": "The device was kept on the charger for more than two hours after it was full, "
    "so its charge at the start is less certain than the display says.",
    "saturated": "The display stood at 100 % throughout, so the charge that left is not shown.",
    "start_saturated": "The display still stood at 100 % at the start of the phase, so charge "
    "may have left before it fell.",
    "hold_too_long": "The display may have stood at 100 % for more than a third of the phase, "
    "so no true-charge figure is given for this phase alone.",
    "died": "The device powered off in this phase; the rate is for the time it was on.",
    "short_exposure": "The device ran less than 20 minutes of this phase or began it below 5 %, "
    "so its rate is only a rough figure.",
    "off_far_from_empty": "The display stood well above 0 at the power-off.",
    "split": "Devices did different things at the same time in this phase; the drain is that of "
    "the phase as a whole.",
    "saver": "A power saver or dimming may have begun in this phase, so the device is not ranked "
    "in it.",
    "gap": "Time that no phase accounts for lies between the two readings; what it may have "
    "drained is taken off and added to the uncertainty.",
    "gap_place_unknown": "Only the total of the unlogged time is known; it is shared equally "
    "between the boundaries.",
    "no_own_end": "The end was read at the start of the next phase.",
    "coarse_step": "The display moves in steps of more than 1 %.",
    "woken": "Looking at the device wakes it, and the drain of the looks is in the uncertainty.",
    "ticks": "A change of the display, noted or to be seen in a dense log, was used: it is sharper "
    "than a reading.",
    "small_drain": "The drain is below 3 pp, so only its upper end says much.",
    "rises": "The percentage rose although no charging is recorded.",
    "charged": "The device was charged in this phase.",
    "gauge_curve": "A gauge that counts charge runs faster towards empty at the same power, by how "
    "much depends on its cell; half of that effect, or what a repeated phase shows of it, is taken "
    "off and the rest is in the interval.",
    "energy_from_capacity": "The rated energy is rated capacity times nominal voltage.",
    "tolerance_assumed": "The tolerance of the rated energy is not recorded; 3 % is assumed.",
    "health_unknown": "The health of the battery is not recorded; 85 to 105 % of the rated energy "
    "is assumed.",
    "unequal_exposure": "This device did this part for a shorter time than the others.",
    "dropped": "One half is missing, so the device is left out of the comparison with both.",
    "one_order_only": "All devices that completed both halves did them in the same order, so the "
    "activities cannot be told from the order.",
    "not_resolvable": "The interval holds the rate of the rest of the time, or reaches 0: the "
    "display cannot resolve so short a turn.",
    "unknown_length": "The length of the phase, or the minute of the power-off in it, is not known "
    "well enough for a rate.",
}
"""Codes of the ``flags`` column, each with the sentence that it stands for."""

UNRANKED: frozenset[str] = frozenset(
    {"warm_up", "died", "split", "saver", "saturated", "start_saturated", "hold_too_long",
     "rises", "charged"}
)  # fmt: skip
"""Flags that keep a device out of comparisons in that phase."""

NOT_TYPICAL = ("warm_up", "saver", "rises", "charged", "saturated", "start_saturated",
               "hold_too_long")  # fmt: skip
"""Flags with which a phase does not stand for its activity elsewhere."""


def _saver_flags(chains: Chains, found: Drains) -> Bools:
    """Return where a reading lies at or below a threshold of a power saver or dimming."""
    n = len(chains.devices)
    marks = [saver_thresholds(device_conditions(chains.session, i)) for i in range(n)]
    highest = np.array([m[0] if m else -1.0 for m in marks])[chains.unit_device][:, None]
    lowest_read = np.where(np.isnan(found.end_pct), found.start_pct, found.end_pct)
    dying = np.arange(len(chains.phases)) == chains.death[:, None]
    lowest = np.where(dying, 0.0, lowest_read)
    with np.errstate(invalid="ignore"):
        return (lowest <= highest) & (highest > 0.0)


def flag_matrix(chains: Chains, found: Drains) -> dict[str, Bools]:
    """Return for every code of `FLAGS` where it applies, shape (K, P).

    Parameters
    ----------
    chains
        From `kit.drain.chains.build_chains`.
    found
        Displayed drains of the chains.

    Examples
    --------
    From 100 to 98 %, then to 18 %, with a power saver that may begin at 20 %:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 98, 18]},
    ...                  conditions={"power_saver": "on", "power_saver_threshold_pct": 20})
    >>> ready = prepare(s)
    >>> found = flag_matrix(ready.chains, ready.drains["displayed"])
    >>> [[code for code in sorted(found) if found[code][0, j]] for j in (0, 1)]
    [['from_full', 'may_contain_sync', 'small_drain'], ['saver']]
    """
    session, obs = chains.session, chains.observations
    k, p = chains.length_h.shape
    shape = (k, p)
    phases = np.arange(p)
    there = ~np.isnan(found.drain_pp)
    first = np.broadcast_to(phases == 0, shape)
    full = first & chains.full[:, None]
    dying = phases == chains.death[:, None]
    exposure = chains.exposure_h
    hold_h = session.assumptions.full_hold_max_min / 60.0
    conditions = [device_conditions(session, i) for i in range(len(chains.devices))]
    held = [c.get("held_full_min") for c in conditions]
    held_long = [isinstance(h, (int, float)) and h > HELD_FULL_LONG_MIN for h in held]
    long = np.array(held_long, dtype=bool)[chains.unit_device][:, None]
    waking = [d.gauge.reading_wakes_device is True for d in session.devices]
    wakes = np.array(waking, dtype=bool)[chains.unit_device]
    dark = np.array([ph.screen_on is False for ph in session.phases], dtype=bool)
    gap_min = (chains.gap_h + chains.end_gap_h) * 60.0
    node = obs.node
    tick = (node >= 0) & (np.take_along_axis(obs.weight, np.maximum(node, 0), axis=1) == 0.0)
    sat = saturated(chains)
    levels = chains.levels
    warm_up = np.array([not ph.evaluated for ph in session.phases], dtype=bool)
    split = np.array([ph.is_split for ph in session.phases], dtype=bool)
    with np.errstate(invalid="ignore"):
        flags: dict[str, Bools] = {
            "warm_up": np.broadcast_to(warm_up, shape),
            "from_full": full & there,
            "start_assumed_full": full & (node[:, :1] != 0),
            "may_contain_sync": first & there,
            "held_full": full & long,
            "saturated": sat & (levels[:, 1::2] == 100.0),
            "start_saturated": sat & (levels[:, 1::2] != 100.0),
            "hold_too_long": full & (hold_h > 0.0) & (chains.exposure_h < 3.0 * hold_h),
            "died": dying,
            "short_exposure": dying
            & chains.timed
            & ((exposure < SHORT_EXPOSURE_H) | (levels[:, 0::2] < LITTLE_CHARGE_PCT)),
            "off_far_from_empty": dying & (chains.off_pct[:, :1] > 0.0),
            "split": np.broadcast_to(split, shape),
            "saver": _saver_flags(chains, found),
            "gap": there & (gap_min >= NOTED_MIN_MIN),
            "gap_place_unknown": there & (chains.gap_u_h > 0.0),
            "no_own_end": there & ~dying & (node[:, 1::2] > 2 * phases + 1),
            "coarse_step": there & (obs.step[:, None] > 1.0),
            "woken": there & wakes[:, None] & dark,
            "ticks": there & (tick[:, 0::2] | tick[:, 1::2]),
            "small_drain": there & (np.abs(found.drain_pp) < SMALL_DRAIN_PP),
            "rises": there & found.rises,
            "charged": chains.charged,
            "unknown_length": ~chains.timed,
        }  # fmt: skip
    begun = ~(phases >= chains.gone[:, None]) | dying
    return {code: np.asarray(flag & begun, dtype=bool) for code, flag in flags.items()}


def join_flags(flags: Mapping[str, Bools], shape: tuple[int, int]) -> Texts:
    """Return the codes that apply joined by ";", shape (K, P).

    Examples
    --------
    >>> flags = {"gap": np.array([[True, False]]), "ticks": np.array([[True, True]])}
    >>> join_flags(flags, (1, 2)).tolist()
    [['gap;ticks', 'ticks']]
    """
    texts = np.full(shape, "", dtype=object)
    for code, where in flags.items():
        if where.any():
            texts[where] = texts[where] + (code + ";")
    flat = texts.ravel()
    for i, text in enumerate(flat.tolist()):
        if text:
            flat[i] = text[:-1]
    return flat.reshape(shape)

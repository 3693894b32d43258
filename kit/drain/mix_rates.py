"""Rates of devices on mixes of activities, and which of them are surely lower than others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import constant_power_drain
from kit.drain.margins import table_margin
from kit.drain.segments import segments
from kit.drain.states import time_variance
from kit.stats.uncertainty import Resolution, resolution

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["MixRates", "SeveralMixes", "lower_of", "lower_rates", "mix_rates", "several_mixes"]


@dataclass(frozen=True, kw_only=True)
class MixRates:
    """Rate of each unit on one mix; arrays of shape (K,), NaN where an activity is missing.

    Parameters
    ----------
    rate
        Weighted mean of the rates (pp/h).
    resolution
        What the resolution of the display adds to it.
    u_other, bound
        u of everything else, and half-widths added linearly (pp/h).
    variance
        Source → variance of the rate ((pp/h)²); bounds taken as rectangular.
    missing
        Activities of the mix without a usable phase, by unit.
    """

    rate: Floats
    resolution: Resolution
    u_other: Floats
    bound: Floats
    variance: Mapping[str, Floats]
    missing: tuple[tuple[str, ...], ...]

    @property
    def u(self) -> Floats:
        """Return the standard uncertainty (pp/h), bounds taken as rectangular."""
        return np.sqrt(self.resolution.u**2 + self.u_other**2 + self.bound**2 / 3.0)

    def half_width(self, coverage: float) -> Floats:
        """Return U of the rate (pp/h)."""
        return self.resolution.expanded(self.u_other, coverage, bound=self.bound)


@dataclass(frozen=True, kw_only=True)
class SeveralMixes:
    """Rates on M mixes: as `MixRates`, arrays of shape (M, K), ``missing`` by mix and unit."""

    rate: Floats
    resolution: Resolution
    u_other: Floats
    bound: Floats
    variance: Mapping[str, Floats]
    missing: tuple[tuple[tuple[str, ...], ...], ...]


def _shares(
    found: Segments, mixes: Sequence[Mapping[str, float]]
) -> tuple[Floats, tuple[tuple[tuple[str, ...], ...], ...]]:
    """Return the weight (1/h) of each segment's drain in the rates of M mixes, shape (M, K, S).

    And by mix and unit the activities that have no usable phase.
    """
    wanted = [{a: w for a, w in weights.items() if w > 0.0} for weights in mixes]
    totals = [sum(weights.values()) for weights in mixes]
    share = np.zeros((len(mixes), *found.hours.shape))
    lacking: dict[str, list[bool]] = {}
    for activity in dict.fromkeys(a for weights in wanted for a in weights):
        here, hours = found.standing_for(activity)
        has = hours > 0.0
        lacking[activity] = (~has).tolist()
        part = np.array(
            [w.get(activity, 0.0) / total for w, total in zip(wanted, totals, strict=True)]
        )
        each = part[:, None] / np.where(has, hours, 1.0)
        share += np.where(here & has[:, None], each[:, :, None], 0.0)
    units = range(len(found.hours))
    missing = tuple(
        tuple(tuple(a for a in weights if lacking[a][k]) for k in units) for weights in wanted
    )
    return share, missing


def mix_rates(
    ready: Prepared, weights: Mapping[str, float], *, found: Segments | None = None
) -> MixRates:
    """Return the rate of every unit on one mix.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    weights
        Activity → share of time; they need not add up to 1.
    found
        From `kit.drain.segments.segments`, if computed already.

    Raises
    ------
    ValueError
        If no weight is above 0, or one is below.

    Notes
    -----
    As for `several_mixes`.

    Examples
    --------
    12 pp on the map and 6 pp on photos, an hour each: half and half 9 pp/h. The readings 90, 78 and
    72 % have the coefficients ½, 0 and −½: u = √(2 × ¼/12) = 0.204 pp/h:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> ready = prepare(make_session(devices=[a], phases={"map": 60, "photo": 60},
    ...                              readings={"a": [90, 78, 72]}, assumptions=BARE))
    >>> found = mix_rates(ready, {"map": 1, "photo": 1})
    >>> found.rate.tolist(), found.u.round(3).tolist()
    ([9.0], [0.204])
    """
    every = several_mixes(ready, [weights], found=found)
    return MixRates(
        rate=every.rate[0],
        resolution=every.resolution[0],
        u_other=every.u_other[0],
        bound=every.bound[0],
        variance={source: v[0] for source, v in every.variance.items()},
        missing=every.missing[0],
    )


def several_mixes(
    ready: Prepared, mixes: Sequence[Mapping[str, float]], *, found: Segments | None = None
) -> SeveralMixes:
    """Return the rates of every unit on M mixes, from one calculation.

    Parameters
    ----------
    ready, found
        As for `mix_rates`.
    mixes
        The weights of each mix, as for `mix_rates`.

    Returns
    -------
    SeveralMixes
        Arrays of shape (M, K).

    Raises
    ------
    ValueError
        As for `mix_rates`.

    Notes
    -----
    ``r = Σ_j w_j d_j/L_j`` over the segments of each activity. With c the coefficients of the
    readings in r, the resolution adds ``Σc²/12`` (and the common rounding), the gauge ``c′Kc``,
    each reading's time once, each length ``(w_j r_j u_L/L_j)²``. What cannot be averaged adds
    linearly; the level effect is one unknown for all phases, so its signed sum counts. Derived in
    docs/measurement.md.

    Examples
    --------
    12 and 6 pp/h: half and half 9 pp/h, one part of four on the map 3 + 4.5 = 7.5 pp/h:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> ready = prepare(make_session(devices=[a], phases={"map": 60, "photo": 60},
    ...                              readings={"a": [90, 78, 72]}, assumptions=BARE))
    >>> several_mixes(ready, [{"map": 1, "photo": 1}, {"map": 1, "photo": 3}]).rate.tolist()
    [[9.0], [7.5]]
    """
    for weights in mixes:
        if not weights or min(weights.values()) < 0.0 or sum(weights.values()) <= 0.0:
            msg = f"the weights of a mix must not be negative and not all 0, got {dict(weights)}"
            raise ValueError(msg)
    found = segments(ready) if found is None else found
    chains, now = ready.chains, found.swaps.states
    share, missing = _shares(found, mixes)
    scaled = share * found.factor
    base = (scaled[:, :, None, :] @ found.base)[:, :, 0, :]
    coefficients = (base[:, :, None, :] @ now.matrix)[:, :, 0, :]
    shown = resolution(
        coefficients,
        weights=found.swaps.weights,
        step=chains.observations.step,
        convention_variance=chains.offset_variance,
    )
    gauge = ((coefficients[:, :, None, :] @ found.gauge)[:, :, 0, :] * coefficients).sum(axis=2)
    drain = np.where(share > 0.0, np.nan_to_num(found.drain_pp), 0.0)
    per_hour = np.where(share > 0.0, drain / np.where(found.hours > 0.0, found.hours, 1.0), 0.0)
    # a turn that took longer leaves less to be taken off for the rest of its phase
    length = scaled * (per_hour - found.plain_rate) * found.length_u_h
    taken = share > 0.0
    by_unit = base.swapaxes(0, 1)
    averaged = {
        "reading_time": time_variance(now, by_unit).T,
        "gauge": gauge,
        "full_start": np.where(taken, scaled**2 * found.start_variance, 0.0).sum(axis=2),
        "phase_length": np.where(taken, length**2, 0.0).sum(axis=2),
    }
    other = np.asarray(sum(averaged.values()))
    _, up, down = constant_power_drain(drain, found.beta, found.share, found.share_half_width)
    level = np.maximum(np.abs((share * up).sum(axis=2)), np.abs((share * down).sum(axis=2)))
    gaps = now.bounds(by_unit).T
    looks = (scaled * found.wake_pp).sum(axis=2)
    blank = np.array([[np.nan if m else 0.0 for m in units] for units in missing])
    # they add linearly, so their common variance is shared out in proportion
    linear = (gaps + level + looks) / 3.0
    variance = {
        "resolution": shown.own, "rounding": shown.common, **averaged,
        "gap": linear * gaps, "gauge_curve": linear * level, "wake": linear * looks,
    }  # fmt: skip
    return SeveralMixes(
        rate=(scaled * drain).sum(axis=2) + blank,
        resolution=shown,
        u_other=np.sqrt(other) + blank,
        bound=gaps + level + looks + blank,
        variance={source: v + blank for source, v in variance.items()},
        missing=missing,
    )


def lower_rates(found: MixRates, part: slice, coverage: float) -> tuple[Bools, Bools]:
    """Return ``lower[i, j]``, device i claimed to drain more slowly than j, and who takes part.

    Parameters
    ----------
    found
        Rates on one mix.
    part
        Units of one run.
    coverage
        Of all pairs together (the table rule).

    Examples
    --------
    12 and 8 pp in an hour: 4 is more than the four halves of a step, 2, that the four readings can
    hide. 12 and 10 are not further apart than that:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> units = [Device(id=d, label=d, gauge=Gauge(counts="energy")) for d in "ab"]
    >>> for end in (82, 80):
    ...     s = make_session(devices=units, phases={"map": 60}, assumptions=BARE,
    ...                      readings={"a": [90, 78], "b": [90, end]})
    ...     print(lower_rates(mix_rates(prepare(s), {"map": 1}), slice(0, 2), 0.95)[0].tolist())
    [[False, False], [True, False]]
    [[False, False], [False, False]]
    """
    return lower_of(
        found.rate[part], found.resolution[part], found.u_other[part], found.bound[part], coverage
    )


def lower_of(
    rate: Floats, shown: Resolution, u: Floats, bound: Floats, coverage: float
) -> tuple[Bools, Bools]:
    """Return ``lower[…, i, j]`` and who takes part; see `lower_rates`.

    Parameters
    ----------
    rate, shown, u, bound
        Shape (…, n). As in `MixRates`.
    coverage
        Of all pairs together.

    Examples
    --------
    8, 9.6 and 13 pp/h, each with u = 0.5: of three pairs each has to exceed Φ⁻¹(1 − 0.025/3) =
    2.394 times √(0.5² + 0.5²), 1.69. The first two are 1.6 apart; for one pair alone that would do:

    >>> none = resolution(np.zeros((3, 1)))
    >>> rate, u = np.array([8.0, 9.6, 13.0]), np.full(3, 0.5)
    >>> lower_of(rate, none, u, np.zeros(3), 0.95)[0].tolist()
    [[False, False, True], [False, False, True], [False, False, False]]
    >>> lower_of(rate[:2], none[:2], u[:2], np.zeros(2), 0.95)[0].tolist()
    [[False, True], [False, False]]
    """
    known = ~np.isnan(rate)
    n = known.sum(axis=-1)
    both = shown[..., :, None] + shown[..., None, :]
    u_both = np.hypot(u[..., :, None], u[..., None, :])
    bound_both = bound[..., :, None] + bound[..., None, :]
    pairs = np.asarray(np.maximum(n * (n - 1) // 2, 1))[..., None, None]
    width = table_margin(both, u_both, bound_both, coverage, pairs)
    with np.errstate(invalid="ignore"):
        lower = rate[..., None, :] - rate[..., :, None] > width
    return np.asarray(lower, dtype=bool), known

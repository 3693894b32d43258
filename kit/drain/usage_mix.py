"""Hours on a mix of activities, which mixes a report shows, and how one is written as a text.

Weights are shares of time. Hours on a mix are 100 over the weighted mean of the rates, never
the weighted mean of the hours. The rates of one device share readings: neighbouring drains
partly cancel, and the coefficients of the readings carry that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.mix_rates import lower_rates, mix_rates
from kit.drain.phases import methods, prepare, reached
from kit.drain.projections import hours_from_rate, hours_u
from kit.drain.segments import segments
from kit.frames import frame_of_rows, no_rows, result_frame
from kit.stats.order import rank_intervals, tie_letters

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.mix_rates import MixRates
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.simulation import Simulated
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = [
    "OWN_MIX",
    "PARAMETER_MIX",
    "MixHours",
    "chosen_mixes",
    "mix_from_text",
    "mix_hours",
    "mix_parts",
    "own_mix",
    "usage_mixes",
]

OWN_MIX = "as in this session"
PARAMETER_MIX = "as asked for"


@dataclass(frozen=True, kw_only=True)
class MixHours:
    """Hours from 100 % to 0 on one mix by the closed form; arrays of shape (K,), in h.

    ``hours`` and ``u`` are NaN and ``high`` is infinite where only the low end is known.
    """

    hours: Floats
    u: Floats
    low: Floats
    high: Floats


def mix_hours(rates: MixRates, coverage: float) -> MixHours:
    """Return the hours at the rates of a mix; their ends are those of the rate, turned over.

    Parameters
    ----------
    rates
        From `mix_rates`.
    coverage
        Probability of the intervals.

    Examples
    --------
    12 pp on the map and 6 pp on photos in an hour each: half and half 9 pp/h, 100/9 = 11.11 h. From
    the readings 90, 78, 72 with coefficients ½, 0, −½: u² = 2/4/12, the triangle of ±½ within 0.40:
    100/9.4 to 100/8.6 h:

    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> ready = prepare(make_session(devices=[a], phases={"map": 60, "photo": 60},
    ...                              readings={"a": [90, 78, 72]}, assumptions=BARE))
    >>> found = mix_hours(mix_rates(ready, {"map": 1, "photo": 1}), 0.95)
    >>> [round(float(v[0]), 2) for v in (found.hours, found.low, found.high)]
    [11.11, 10.64, 11.63]
    """
    half = rates.half_width(coverage)
    low = np.maximum(rates.rate - half, 0.0)
    hours, shortest, longest = hours_from_rate(rates.rate, low, rates.rate + half)
    blank = np.where(np.isinf(longest), np.nan, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = hours_u(hours, rates.u / rates.rate)
    return MixHours(hours=hours + blank, u=u + blank, low=shortest, high=longest)


def usage_mixes(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
    simulated: Simulated | None = None,
) -> pd.DataFrame:
    """Return the hours that a full charge lasts on each named mix, with the order of devices.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared, found
        From `kit.drain.phases.prepare` and `kit.drain.segments.segments`, if made already.
    mixes
        Mixes to use in place of the session's own: name → {activity: share of time}.
    simulated
        From `kit.drain.simulation.simulate`, of the same mixes; as for
        `kit.drain.phases.phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["mixes"]``. A device that lacks a usable phase of one
        activity has NaN, and the activities in ``missing``. Ranks and letters are by the table
        rule over all pairs.

    Examples
    --------
    5 pp/h idle and 20 in a game, half and half 12.5 pp/h, 8 h: not (20 h + 5 h)/2. The interval is
    that of the rate, ±0.40, turned over: 100/12.9 to 100/12.1 h:

    >>> from kit.results import Settings
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"idle": 60, "game": 60}, assumptions=BARE,
    ...                  readings={"a": [95, 90, 70]})
    >>> row = usage_mixes(s, Settings(), mixes={"half": {"idle": 1, "game": 1}}).iloc[0]
    >>> [round(float(row[c]), 2) for c in ("rate_pp_per_h", "hours", "hours_low", "hours_high")]
    [12.5, 8.0, 7.75, 8.26]
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    stretches = segments(ready) if found is None else found
    n = len(chains.devices)
    frames: list[dict[str, NDArray[np.generic]]] = []
    chosen = session.mixes if mixes is None else mixes
    for name, weights in chosen.items():
        rates = mix_rates(ready, weights, found=stretches)
        closed = mix_hours(rates, settings.coverage)
        low, high, drawn = reached(
            closed.low,
            closed.high,
            None if simulated is None else simulated.mixes[name],
            u=closed.u,
        )
        best, worst = np.full(chains.units, np.nan), np.full(chains.units, np.nan)
        letters = np.full(chains.units, "", dtype=object)
        for r in range(len(chains.runs)):
            part = slice(r * n, (r + 1) * n)
            lower, known = lower_rates(rates, part, settings.coverage)
            who = np.flatnonzero(known)
            if who.size:
                matrix = lower[np.ix_(who, who)]
                ranks = rank_intervals(matrix)
                best[who + r * n], worst[who + r * n] = ranks
                letters[who + r * n] = tie_letters(matrix)
        frames.append(
            {
                "run": np.repeat(np.array(chains.runs, dtype=np.int64), n),
                "mix": np.full(chains.units, name, dtype=object),
                "device": np.tile(np.array(chains.devices, dtype=object), len(chains.runs)),
                "rate_pp_per_h": rates.rate,
                "rate_pp_per_h_u": rates.u,
                "rate_pp_per_h_low": 100.0 / high,
                "rate_pp_per_h_high": 100.0 / low,
                "hours": closed.hours,
                "hours_low": low,
                "hours_high": high,
                "hours_u": closed.u,
                "at_least": np.isinf(high),
                "method": methods(~np.isnan(low), drawn),
                "rank_best": best,
                "rank_worst": worst,
                "tie_group": letters,
                "missing": np.array([", ".join(m) for m in rates.missing], dtype=object),
            }
        )
    if not frames:
        return no_rows("mixes")
    return result_frame("mixes", {c: np.concatenate([f[c] for f in frames]) for c in frames[0]})


def own_mix(
    session: Session, *, prepared: Prepared | None = None, found: Segments | None = None
) -> dict[str, float]:
    """Return the session's own mix: the time that each activity had in it.

    Parameters
    ----------
    session
        A record that passed its checks.
    prepared, found
        From `kit.drain.phases.prepare` and `kit.drain.segments.segments`, if made already.

    Returns
    -------
    dict
        Activity → hours, the mean over devices and runs of its usable phases; only activities
        for which every device in every run has one, so that all of them can be compared. Empty
        with fewer than two of them: then it is no mix.

    Examples
    --------
    An hour on the map and half an hour on photos:

    >>> from tests.helpers.builders import make_session
    >>> own_mix(make_session(phases={"map": 60, "photo": 30}, readings={"a": [90, 78, 72]}))
    {'map': 1.0, 'photo': 0.5}
    """
    ready = prepare(session) if prepared is None else prepared
    found = segments(ready) if found is None else found
    hours: dict[str, float] = {}
    for activity in dict.fromkeys(found.activity.T.ravel().tolist()):
        here = found.usable & (found.activity == activity)
        if activity and here.any(axis=1).all():
            hours[str(activity)] = float(np.where(here, found.hours, 0.0).sum(axis=1).mean())
    return hours if len(hours) > 1 else {}


def chosen_mixes(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    found: Segments | None = None,
) -> dict[str, dict[str, float]]:
    """Return the mixes to analyse: the parameter's, those of the setup file, the session's own.

    Parameters
    ----------
    session, settings, prepared, found
        As for `usage_mixes`.

    Returns
    -------
    dict
        Name → {activity: share of time}; `OWN_MIX` comes last, if it can be had.

    Examples
    --------
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"map": 60, "photo": 30}, readings={"a": [90, 78, 72]},
    ...                  mixes={"day": {"map": 3, "photo": 1}})
    >>> for name, weights in chosen_mixes(s, Settings(mix="map 1, photo 1")).items():
    ...     print(name, weights)
    as asked for {'map': 1.0, 'photo': 1.0}
    day {'map': 3, 'photo': 1}
    as in this session {'map': 1.0, 'photo': 0.5}
    """
    named = {name: dict(weights) for name, weights in session.mixes.items()}
    asked = {PARAMETER_MIX: mix_from_text(settings.mix)} if settings.mix.strip() else {}
    own = own_mix(session, prepared=prepared, found=found)
    return {**asked, **named, **({OWN_MIX: own} if own else {})}


def mix_parts(mixes: Mapping[str, Mapping[str, float]]) -> pd.DataFrame:
    """Return what mixes are made of: share of the time (0 to 1) of each activity.

    Examples
    --------
    >>> mix_parts({"day": {"map": 3, "photo": 1}})["share"].tolist()
    [0.75, 0.25]
    """
    rows = [
        (name, activity, weight / sum(weights.values()))
        for name, weights in mixes.items()
        for activity, weight in weights.items()
        if weight > 0.0
    ]
    return frame_of_rows("mix_parts", rows) if rows else no_rows("mix_parts")


def mix_from_text(text: str) -> dict[str, float]:
    """Return a mix written as ``"map 3, photo 2"``: activity, then its share of the time.

    Raises
    ------
    ValueError
        If a part is not an activity and a number, or no number is above 0.

    Examples
    --------
    >>> mix_from_text("map 3, photo 2.5")
    {'map': 3.0, 'photo': 2.5}
    """
    found: dict[str, float] = {}
    for part in text.split(","):
        name, _, number = part.strip().rpartition(" ")
        try:
            weight = float(number)
        except ValueError:
            weight = -1.0
        if not name.strip() or not 0.0 <= weight < float("inf"):
            msg = f"the mix has {part.strip()!r}; write activity and share, such as 'map 3'"
            raise ValueError(msg)
        found[name.strip()] = found.get(name.strip(), 0.0) + weight
    if not sum(found.values()) > 0.0:
        msg = "no share of the mix is above 0"
        raise ValueError(msg)
    return found

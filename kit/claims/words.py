"""Claims in words: the sentence asked about, the reason, and one that can be read aloud.

The sentence to read aloud is true whatever the verdict: where a claim does not stand, it says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from kit.claims.activities import stretches
from kit.claims.unlike import NOT_CHARGED, NOT_COMPARED, UNLIKE, Unlike
from kit.drain.phases import MEASURANDS
from kit.labels import device_names, full_name, phase_names, phase_numbers
from kit.read.conditions import CONDITIONS
from kit.units import MINUS, NO_BREAK, count, duration, joined, number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.claims.activities import Stretch
    from kit.claims.unlike import About
    from kit.claims.verdicts import Claim
    from kit.session import Session

__all__ = ["Speech", "chance", "minutes", "points", "span", "told_apart"]

DISPLAYED = MEASURANDS[0]

_FEW = 3
"""Devices that a sentence names one by one where some were left out."""

_SETTING = {
    "power_saver_threshold_pct": "the level at which the power saver starts",
    "dimming_threshold_pct": "the level at which dimming starts",
}
"""Conditions whose label would not stand in a sentence."""

_STATEMENTS: Mapping[str, str] = {
    "longest": "{among}{a} lasted longest",
    "first_in_group": "{among}{a} lasted longest among “{group}”",
    "outlasted": "{a} outlasted {b}",
    "drained_least": "{among}{a} {least} in {where}",
    "drained_less": "{a} {less} than {b} in {where}",
    "least_doing": "{among}{a} drained least {doing}",
    "led": "{among}{a} led {when}",
    "ahead_after": "{a} was ahead of {b} after {where}",
    "tied_after": "{a} and {b} tied after {where}",
    "gained": "{a} gained on {b} in {where}",
}
"""What somebody may want to say, by the code of the claim."""


_OF_DRAINS = ("drained_least", "drained_less", "least_doing", "gained")
"""Codes of claims on drains, in which the charge at the start does not count."""


def _about(claim: Claim) -> About:
    if claim.measurand == "runtime":
        return "runtime"
    return "drain" if claim.code in _OF_DRAINS else "standing"


def compared(claim: Claim) -> tuple[int, ...]:
    """Return the devices that a claim compares, the one that it is about first.

    Examples
    --------
    >>> from kit.claims.verdicts import Claim, Need
    >>> compared(Claim(code="led", a=2, needs=(Need("t", 0, 2, 0), Need("t", 0, 2, 1))))
    (2, 0, 1)
    """
    rivals = dict.fromkeys(need.j for need in claim.needs)
    return (claim.a, *(j for j in rivals if j not in (claim.a, *claim.left_out)))


def chance(p: float) -> str:
    """Return a probability to a tenth of a per cent, never as a certainty that it is not.

    Examples
    --------
    >>> [chance(p).replace(NO_BREAK, " ") for p in (0.9996, 0.96875, 0.0001, 1.0)]
    ['more than 99.9 %', '96.9 %', 'less than 0.1 %', '100 %']
    """
    if p >= 1.0:
        return f"100{NO_BREAK}%"
    if p > 0.999:
        return f"more than 99.9{NO_BREAK}%"
    if p < 0.001:
        return f"less than 0.1{NO_BREAK}%"
    return f"{number(round(p, 3) * 100.0, 1)}{NO_BREAK}%"


def points(value: float, decimals: int = 0) -> str:
    """Return percentage points in words.

    Examples
    --------
    >>> points(1.0), points(2.96, 1)
    ('1 percentage point', '3.0 percentage points')
    """
    text = number(value, decimals)
    return f"{text} percentage point{'' if text == '1' else 's'}"


def span(low: float, high: float) -> str:
    """Return bounds of a time in whole minutes, rounded outwards.

    Examples
    --------
    >>> span(3.2, 8.9).replace(NO_BREAK, " ")
    '3 to 9 min'
    >>> span(58.0, 66.0).replace(NO_BREAK, " ")
    '58 min to 1 h 06 min'
    """
    first, last = duration(math.floor(low)), duration(math.ceil(high))
    unit = f"{NO_BREAK}min"
    if first.endswith(unit) and last.endswith(unit) and f"{NO_BREAK}h" not in first + last:
        first = first.removesuffix(unit)
    return f"{first} to {last}"


_MOST_DECIMALS = 3


def minutes(value: float, decimals: int = 0) -> str:
    """Return a time in words, hours from 60 min on, with a true minus sign.

    Examples
    --------
    >>> [minutes(v, d).replace(NO_BREAK, " ") for v, d in ((-75, 0), (99.7, 1), (18.3, 1))]
    ['−1 h 15 min', '1 h 39.7 min', '18.3 min']
    """
    whole = round(abs(value), decimals)
    sign = MINUS if value < 0.0 < whole else ""
    hours, rest = divmod(whole, 60.0)
    if not hours:
        return f"{sign}{number(rest, decimals)}{NO_BREAK}min"
    if not decimals:
        return sign + duration(whole)
    wide = 3 + decimals
    return f"{sign}{hours:.0f}{NO_BREAK}h{NO_BREAK}{rest:0{wide}.{decimals}f}{NO_BREAK}min"


def told_apart(lead_min: float, needed_min: float, *, at_least: bool = False) -> tuple[str, str]:
    """Return a lead and what is needed, rounded up; the larger one larger as told.

    Whole minutes, and as many decimals as it takes for a lead that is more than what is needed to
    read as more.

    Parameters
    ----------
    lead_min, needed_min
        Lead and need (min).
    at_least
        Whether the lead is a lower bound, which is rounded down and called so.

    Examples
    --------
    >>> [t.replace(NO_BREAK, " ") for t in told_apart(155.6, 49.4)]
    ['2 h 36 min', '50 min']
    >>> [t.replace(NO_BREAK, " ") for t in told_apart(20.9, 20.3)]
    ['20.9 min', '20.3 min']
    >>> [t.replace(NO_BREAK, " ") for t in told_apart(155.6, 99.98, at_least=True)]
    ['at least 2 h 35 min', '1 h 40 min']
    >>> [t.replace(NO_BREAK, " ") for t in told_apart(-3.5, 99.98, at_least=True)]
    ['at least −4 min', '1 h 40 min']
    """
    lead, needed = (round(value, 6) for value in (lead_min, needed_min))
    for decimals in range(_MOST_DECIMALS + 1):
        step = 10.0**decimals
        told = math.floor(lead * step) / step if at_least else round(lead, decimals)
        most = math.ceil(needed * step) / step
        if lead <= needed or told > most:
            break
    said = minutes(told, decimals)
    return f"at least {said}" if at_least else said, minutes(most, decimals)


@dataclass(frozen=True, kw_only=True)
class Speech:
    """Names of a session as they are said."""

    session: Session
    device: Mapping[str, str]
    phase: Mapping[str, str]
    order: Mapping[str, int]

    @classmethod
    def of(cls, session: Session) -> Speech:
        """Return the names of a session."""
        return cls(
            session=session,
            device=device_names(session),
            phase=phase_names(session),
            order=phase_numbers(session),
        )

    @cached_property
    def _devices(self) -> tuple[str, ...]:
        return tuple(self.device[device.id] for device in self.session.devices)

    @cached_property
    def _phases(self) -> tuple[str, ...]:
        return tuple(
            f"phase{NO_BREAK}{self.order[phase.id]} (“{self.phase[phase.id]}”)"
            for phase in self.session.phases
        )

    def name(self, k: int) -> str:
        """Return the name of the device at position ``k``."""
        return self._devices[k]

    def names(self, places: Sequence[int]) -> str:
        """Return the names of several devices as a list in a sentence."""
        return joined(self.name(k) for k in places)

    def in_phase(self, p: int) -> str:
        """Return ``phase 2 (“Streaming video”)``."""
        return self._phases[p]

    def number(self, p: int) -> int:
        """Return the number of the phase at position ``p``."""
        return self.order[self.session.phases[p].id]

    def group(self, name: str) -> str:
        """Return the name of a group fit to be shown."""
        return full_name(name, name)

    def different_settings(self, a: int, b: int) -> str:
        """Return in which recorded conditions two devices differ; empty if in none."""
        first, second = self.session.devices[a].conditions, self.session.devices[b].conditions
        keys = [k for k in {**first, **second} if first.get(k) != second.get(k)]
        return joined(
            _SETTING.get(k, CONDITIONS[k].label.lower()) if k in CONDITIONS else full_name(k, k)
            for k in keys
            if k not in NOT_COMPARED
        )

    @cached_property
    def unlike(self) -> Unlike:
        """Return what was not alike for devices that are compared."""
        return Unlike(self.session)

    def marked(self, claim: Claim, k: int, run: int) -> str:
        """Return the name of a device with what sets it apart from the others of a claim."""
        if self.unlike.all_alike:
            return self.name(k)
        others = compared(claim) if k == claim.a else (claim.a,)
        return self.unlike.marked(self.name(k), k, others, run=run, about=_about(claim))

    def apart(self, claim: Claim, run: int) -> str:
        """Return a sentence on the devices of a claim that were not alike; empty if all were."""
        if self.unlike.all_alike:
            return ""
        told = [(self.name(k), self.marked(claim, k, run)) for k in compared(claim)]
        unlike = [marked for name, marked in told if marked != name]
        return f" {UNLIKE}: {joined(unlike)}." if unlike else ""

    def statement(self, claim: Claim, run: int = 1) -> str:
        """Return the sentence that somebody may want to say of a run."""
        p, last = claim.phase_from, claim.phase_to
        where = self.in_phase(p) if p >= 0 else ""
        shown = claim.measurand == DISPLAYED
        said = _STATEMENTS[claim.code].format(
            a=self.marked(claim, claim.a, run),
            b=self.marked(claim, claim.b, run) if claim.b >= 0 else "",
            where=where,
            group=self.group(claim.group) if claim.code == "first_in_group" else "",
            among=self.among(claim),
            least="drained least" if shown else "used the smallest share of its charge",
            less="drained less" if shown else "used a smaller share of its charge",
            doing=self.doing(claim) if claim.code == "least_doing" else "",
            when=f"after {where}"
            if p == last
            else f"from phase {self.number(p)} to phase {self.number(last)}",
        )
        if claim.b >= 0 or self.unlike.all_alike:
            return said
        a, *others = compared(claim)
        return said + self.unlike.rivals(self._devices, a, others, run=run, about=_about(claim))

    @cached_property
    def _stretches(self) -> tuple[Stretch, ...]:
        return stretches(self.session)

    def doing(self, claim: Claim) -> str:
        """Return ``doing “film” in phases 2 and 4 together``, or in a half of a crossover."""
        stretch = self._stretches[claim.needs[0].phase]
        name = f"doing “{full_name(stretch.activity, stretch.activity)}”"
        if stretch.half:
            half = "first" if stretch.half == 1 else "second"
            return f"{name} in the {half} half of {self.in_phase(stretch.phases[0])}"
        listed = joined(str(self.number(p)) for p in stretch.phases)
        return f"{name} in phases{NO_BREAK}{listed} together"

    def among(self, claim: Claim) -> str:
        """Return whom a claim compares, where that is not everybody who was on; else nothing."""
        if not claim.left_out:
            return ""
        if claim.code not in _OF_DRAINS:
            few = len(claim.members) <= _FEW
            return f"{NOT_CHARGED}{f' ({self.names(claim.members)})' if few else ''}, "
        return f"Among those that can be compared ({self.names(claim.members)}), "

    def of_all(self, claim: Claim) -> str:
        """Return ``of the five devices`` or ``among “small ones”``."""
        not_charged = " that were not charged" if claim.left_out else ""
        if claim.group:
            those = f"those of “{self.group(claim.group)}”{not_charged}"
            return f"among {those if not_charged else f'“{self.group(claim.group)}”'}"
        return f"of the {count(len(claim.members), 'device')}{not_charged}"

"""What was not alike for devices that are compared: charged in the run, settings, start.

What happened in a session stays true of unlike devices, but a sentence that does not say so tells
more than it knows: the name of the device carries it, in whatever sentence it stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.charged import Charge, charged_in_run, charges_of
from kit.labels import full_name, phase_numbers
from kit.read.conditions import CONDITIONS
from kit.units import NO_BREAK, count, duration, joined, number

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kit.session import Session

__all__ = ["NOT_CHARGED", "NOT_COMPARED", "UNLIKE", "UNLIKE_STARTS_PP", "About", "Unlike"]

About = Literal["runtime", "standing", "drain"]

UNLIKE = "Not under like conditions"
"""How the sentence begins that says what was not alike."""

NOT_CHARGED = "Of those not charged"
"""How a sentence begins that leaves out who was charged."""

NOT_COMPARED = ("start_offset_min",)
"""Exceptions of a device that do not make its runtime incomparable."""

UNLIKE_STARTS_PP = 2.0
"""First readings further apart than this are not a start from the same charge (pp; assumption)."""

_MOST_TOLD = 2
"""Rivals whose conditions a sentence tells one by one."""

_LEVEL_OF = {"power_saver_threshold_pct": "power_saver", "dimming_threshold_pct": "dimming"}
"""Conditions that only say more of another one, which is told alone."""

_LABELS = {
    "power_saver_threshold_pct": "power saver from",
    "dimming_threshold_pct": "dimming from",
}
"""Conditions whose label would not stand before a value in a bracket."""


def _value(key: str, value: object) -> str:
    """Return a condition in a word or two: what stands after a comma is for the conditions."""
    known = CONDITIONS.get(key)
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, (int, float)):
        unit = f"{NO_BREAK}{known.unit}" if known is not None and known.unit else ""
        whole = float(value).is_integer()
        return f"{number(value) if whole else number(value, 1)}{unit}"
    told = re.split(r"[,;(]", str(value), maxsplit=1)[0].strip()
    return full_name(told or str(value), str(value))


def _setting(key: str, value: object) -> str:
    label = CONDITIONS[key].label.lower() if key in CONDITIONS else full_name(key, key)
    return f"{_LABELS.get(key, label)} {_value(key, value)}"


@dataclass(frozen=True)
class Unlike:
    """What sets devices of a session apart from those that they are compared with.

    Examples
    --------
    a started at 60 %, b at full charge; c had its power saver on:

    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> row = [Device(id="a", label="a"), Device(id="b", label="b"),
    ...        Device(id="c", label="c", conditions={"power_saver": True})]
    >>> s = make_session(devices=row, phases={"p1": 60},
    ...                  readings={"a": [60, 50], "b": [100, 88], "c": [99, 90]})
    >>> apart = Unlike(s)
    >>> [m.replace(NO_BREAK, " ") for m in apart.marks(0, (1, 2))], apart.marks(1, (0, 2))
    (['started at 60 %'], ())
    >>> apart.marks(2, (0, 1)), apart.marks(2, (2,))
    (('power saver on',), ())
    """

    session: Session

    @cached_property
    def _starts(self) -> Mapping[int, Mapping[int, float]]:
        """Return run → device → mean of the percentages read at the start of the first phase."""
        if not self.session.phases:
            return {}
        frame, first = self.session.readings, self.session.phases[0].id
        places = {device.id: k for k, device in enumerate(self.session.devices)}
        columns = (frame[c].tolist() for c in ("run", "device", "phase", "point", "soc_pct"))
        seen: dict[int, dict[int, list[float]]] = {}
        for run, device, phase, point, soc in zip(*columns, strict=True):
            if phase == first and point == "start" and soc == soc and device in places:
                seen.setdefault(int(run), {}).setdefault(places[device], []).append(soc)
        return {
            run: {k: sum(values) / len(values) for k, values in found.items()}
            for run, found in seen.items()
        }

    @cached_property
    def _charged(self) -> Mapping[int, frozenset[int]]:
        """Return run → devices that were charged in it."""
        if not len(self.session.charges):
            return {}
        offs = self._offs
        return {
            run: frozenset(np.flatnonzero(charged_in_run(self.session, run, high)).tolist())
            for run, high in offs.items()
        }

    @cached_property
    def _offs(self) -> Mapping[int, np.ndarray]:
        from kit.drain.off_times import off_times

        return {run.run: run.high for run in off_times(self.session)}

    def charged(self, run: int) -> frozenset[int]:
        """Return the devices that were charged in a run."""
        return self._charged.get(run, frozenset())

    def how_charged(self, k: int, run: int) -> str:
        """Return ``charged for 30 min in phase 2`` of a device that was, or ``after phase 2``."""
        told = []
        for charge in charges_of(self.session):
            if (charge.run, charge.device) != (run, k):
                continue
            length = charge.end - charge.start
            words = f"for {duration(round(length))} " if length > 0.0 else ""
            told.append(f"{words}{self._when(charge)}")
        return f"charged {joined(told)}"

    def _when(self, charge: Charge) -> str:
        """Return in or after which phase a charge began; else that it did during the run."""
        numbers = phase_numbers(self.session)
        if charge.phase >= 0:
            return f"in phase{NO_BREAK}{numbers[self.session.phases[charge.phase].id]}"
        spans = self.session.spans[self.session.spans["run"] == charge.run]
        columns = (spans[c].tolist() for c in ("phase", "start_min", "end_min", "duration_min"))
        where = "during the run"
        for phase, start, noted, length in zip(*columns, strict=True):
            if start <= charge.begun and phase in numbers:
                end = noted if noted == noted else start + length
                word = "in" if not charge.begun >= end else "after"
                where = f"{word} phase{NO_BREAK}{numbers[phase]}"
        return where

    @cached_property
    def all_alike(self) -> bool:
        """Return whether no device was unlike another in anything, in any run."""
        starts = [tuple(found.values()) for found in self._starts.values()]
        return (
            not any(set(device.conditions) - set(NOT_COMPARED) for device in self.session.devices)
            and not any(self._charged.values())
            and all(max(found) - min(found) <= UNLIKE_STARTS_PP for found in starts)
        )

    def _settings(self, k: int, others: Iterable[int]) -> list[str]:
        mine: Mapping[str, object] = self.session.devices[k].conditions
        rest = [self.session.devices[j].conditions for j in others if j != k]
        common = self.session.conditions
        return [
            _setting(key, value)
            for key, value in mine.items()
            if key not in NOT_COMPARED
            and _LEVEL_OF.get(key) not in mine
            and any(value != other.get(key, common.get(key)) for other in rest)
        ]

    def _low_starts(self, k: int, others: Sequence[int], runs: Sequence[int]) -> list[str]:
        told: dict[str, list[int]] = {}
        for run in runs:
            starts = self._starts.get(run, {})
            them = [starts[j] for j in {k, *others} if j in starts]
            if k in starts and max(them) - starts[k] > UNLIKE_STARTS_PP:
                words = f"started at {number(round(starts[k]))}{NO_BREAK}%"
                told.setdefault(words, []).append(run)
        all_of_them = [run for found in told.values() for run in found]
        if len(told) == 1 and len(all_of_them) == len(runs):
            return list(told)
        return [
            f"{words} in run{'s' if len(found) > 1 else ''}{NO_BREAK}{joined(map(str, found))}"
            for words, found in told.items()
        ]

    def marks(
        self, k: int, others: Sequence[int], *, run: int = 0, about: About = "runtime"
    ) -> tuple[str, ...]:
        """Return what sets a device apart from others, each in a few words.

        Parameters
        ----------
        k, others
            Positions of the device and of those that it is compared with.
        run
            Number of the run; 0: all runs.
        about
            What they are compared in. The charge at the start matters to a runtime and to a
            standing, a charge in between to a runtime only, for no standing after it is compared.
        """
        if self.all_alike:
            return ()
        runs = [run] if run else [one.number for one in self.session.runs]
        found = self._settings(k, others)
        if about != "drain":
            found += self._low_starts(k, others, runs)
        if about != "runtime":
            return tuple(found)
        if run and k in self.charged(run):
            found.append("charged")
        left_out = [] if run else [str(one) for one in runs if k in self.charged(one)]
        if left_out:
            which = f"run{'s' if len(left_out) > 1 else ''}{NO_BREAK}{joined(left_out)}"
            found.append(f"{which} left out: charged")
        return tuple(found)

    def marked(
        self, name: str, k: int, others: Sequence[int], *, run: int = 0, about: About = "runtime"
    ) -> str:
        """Return a name with what sets the device apart in brackets, if anything does."""
        marks = self.marks(k, others, run=run, about=about)
        return f"{name} ({', '.join(marks)})" if marks else name

    def rivals(
        self, names: Sequence[str], k: int, others: Sequence[int], *, run: int = 0,
        about: About = "runtime",
    ) -> str:  # fmt: skip
        """Return in brackets what sets apart those that a device is said to be ahead of.

        Parameters
        ----------
        names
            Of all devices of the session.
        k, others, run, about
            As for `marks`.

        Examples
        --------
        >>> from kit.session import Device
        >>> from tests.helpers.builders import make_session
        >>> row = [Device(id=k, label=k, conditions={"dimming": on})
        ...        for k, on in (("a", False), ("b", True), ("c", False))]
        >>> apart = Unlike(make_session(devices=row))
        >>> apart.rivals("abc", 0, (1, 2)), apart.rivals("abc", 0, (2,))
        (' (b: low-battery dimming on)', '')
        """
        marks = [(names[j], self.marks(j, (k,), run=run, about=about)) for j in others if j != k]
        told = [f"{name}: {', '.join(mark)}" for name, mark in marks if mark]
        if len(told) > _MOST_TOLD:
            return f" ({count(len(told), 'other')} not under like conditions)"
        return f" ({'; '.join(told)})" if told else ""

"""What was alike between two sessions, what differed, and what nobody recorded.

A runtime found under one set of conditions says nothing about another. Conditions that decide a
runtime keep sessions apart where they are recorded and differ; where one of them was not recorded
they are taken as alike, and it is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.labels import full_name
from kit.read.conditions import CONDITIONS
from kit.units import NOT_RECORDED, number, recorded

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from kit.compare.members import Member
    from kit.compare.units import Appearance
    from kit.session import Device, Session

__all__ = [
    "DEVICE_KEYS",
    "PROTOCOL",
    "Contrast",
    "Likeness",
    "Status",
    "close_lengths",
    "condition_keys",
    "lengths",
]

Status = Literal["same", "differs", "unknown"]

PROTOCOL = "protocol"
DEVICE_KEYS = ("software", "health_pct")
"""What may change in a unit between sessions; the rest of it is its hardware."""

TOLERANCE = {
    "room_start_c": 3.0,
    "room_end_c": 3.0,
    "start_charge_pct": 1.0,
    "brightness_pct": 1.0,
    "power_saver_threshold_pct": 1.0,
    "dimming_threshold_pct": 1.0,
}
"""Differences up to this count as alike. 3 °C is worth 1.5 % of runtime at the 0.5 % per kelvin of
docs/measurement.md, half of the scatter assumed from day to day; no source."""

RELATIVE_TOLERANCE = {"luminance_cd_m2": 0.1}
"""The same as a share of the larger value; chosen, no source."""

SAID_ONLY = frozenset({"held_full_min", "off_charger_min"})
"""Known conditions that are listed and decide nothing."""

HEALTH_U_PCT = 2.5
"""u of a recorded battery health where none is stated (assumption, as in `kit.claims.kinds`)."""

_LABELS = {PROTOCOL: "Phases", "software": "Software", "health_pct": "Battery health"}
_OFF = frozenset({"off", "no", "false", "never", "none"})


@dataclass(frozen=True, kw_only=True)
class Contrast:
    """One condition in two sessions.

    Parameters
    ----------
    key, label
        Key of the setup file, and its name.
    first, second
        What was recorded, in words.
    status
        ``same``, ``differs`` or ``unknown`` (not recorded in at least one).
    decides
        Whether a difference keeps the two from being compared.
    """

    key: str
    label: str
    first: str
    second: str
    status: Status
    decides: bool


def _plain(value: object) -> object:
    """Return a recorded value in a form that can be compared; ``None`` = not recorded."""
    if recorded(value) == NOT_RECORDED:
        return None
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, (int, float)):
        return float(value)
    text = " ".join(str(value).casefold().split())
    return "off" if text in _OFF else text


def _alike(key: str, a: object, b: object) -> Status:
    """Return whether two values in comparable form are alike."""
    if a is None or b is None:
        return "unknown"
    if isinstance(a, float) and isinstance(b, float):
        allowed = TOLERANCE.get(key, 0.0)
        allowed = max(allowed, RELATIVE_TOLERANCE.get(key, 0.0) * max(abs(a), abs(b)))
        return "same" if abs(a - b) <= allowed + 1e-9 else "differs"
    return "same" if a == b else "differs"


def _words(key: str, value: object) -> str:
    known = CONDITIONS.get(key)
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return recorded(value, known.unit if known is not None and is_number else "")


def condition_keys(sessions: Iterable[Session]) -> tuple[str, ...]:
    """Return the known conditions and the free ones that any session or device names."""
    free = (
        key
        for session in sessions
        for place in (session.conditions, *(d.conditions for d in session.devices))
        for key in place
        if key not in CONDITIONS and key != "start_offset_min"
    )
    return tuple(dict.fromkeys((*CONDITIONS, *free)))


def lengths(session: Session) -> dict[str, float]:
    """Return phase id → its length (min), the middle over the runs; NaN where not known."""
    spans = session.spans
    found = {}
    for phase in session.phases:
        noted = spans.loc[spans["phase"] == phase.id, "duration_min"].dropna().to_numpy()
        planned = float("nan") if phase.planned_min is None else float(phase.planned_min)
        usable = noted.size and phase.kind != "until_empty"
        found[phase.id] = float(np.median(noted)) if usable else planned
        if phase.kind == "until_empty":
            found[phase.id] = float("nan")
    return found


def _steps(session: Session) -> list[tuple[str, float]]:
    known = lengths(session)
    return [
        (
            " ".join(" / ".join(p.parts).casefold().split())
            if p.is_split and p.parts is not None
            else " ".join(p.activity.casefold().split()),
            known[p.id],
        )
        for p in session.phases
    ]


def _step_words(step: tuple[str, float] | None, place: int) -> str:
    if step is None:
        return f"no phase {place}"
    name, length = step
    size = "until empty" if np.isnan(length) else f"{number(length)} min"
    return f"phase {place}: {full_name(name, 'activity not recorded')}, {size}"


def _protocol(
    a: list[tuple[str, float]], b: list[tuple[str, float]], tolerance_pct: float
) -> tuple[str, str, Status]:
    """Return the first phase in which two protocols part, and whether they do."""
    if not a or not b or any(not name for name, _ in (*a, *b)):
        words = [f"{len(s)} phases" if s and all(n for n, _ in s) else NOT_RECORDED for s in (a, b)]
        return words[0], words[1], "unknown"
    for k in range(max(len(a), len(b))):
        one = a[k] if k < len(a) else None
        two = b[k] if k < len(b) else None
        fits = one is not None and two is not None and one[0] == two[0]
        if fits and one is not None and two is not None:
            open_ends = np.isnan(one[1]), np.isnan(two[1])
            fits = open_ends[0] == open_ends[1] and (
                open_ends[0] or close_lengths(one[1], two[1], tolerance_pct)
            )
        if not fits:
            return _step_words(one, k + 1), _step_words(two, k + 1), "differs"
    alike = f"{len(a)} phases"
    return alike, alike, "same"


def close_lengths(first: float, second: float, tolerance_pct: float) -> bool:
    """Return whether two lengths differ by at most ``tolerance_pct`` of the longer one.

    Examples
    --------
    60 and 66 min differ by 6/66 = 9.1 %, 60 and 70 min by 14.3 %.

    >>> close_lengths(60, 66, 10), close_lengths(60, 70, 10)
    (True, False)
    """
    return abs(first - second) <= tolerance_pct / 100.0 * max(first, second) + 1e-9


def _health(first: Device, second: Device) -> Status:
    if first.health_pct is None or second.health_pct is None:
        return "unknown"
    us = [HEALTH_U_PCT if d.health_u_pct is None else d.health_u_pct for d in (first, second)]
    within = 2.0 * math.hypot(*us)
    return "same" if abs(first.health_pct - second.health_pct) <= within else "differs"


def _device_rows(first: Device, second: Device, accept: frozenset[str]) -> tuple[Contrast, ...]:
    software = first.software, second.software
    return (
        Contrast(
            key="software", label=_LABELS["software"], first=recorded(software[0]),
            second=recorded(software[1]), status=_alike("software", *map(_plain, software)),
            decides="software" not in accept,
        ),
        Contrast(
            key="health_pct", label=_LABELS["health_pct"],
            first=recorded(first.health_pct, "%"), second=recorded(second.health_pct, "%"),
            status=_health(first, second), decides="health_pct" not in accept,
        ),
    )  # fmt: skip


class Likeness:
    """What was alike between sessions, worked out once for every two that are asked for.

    Parameters
    ----------
    members
        The sessions in order.
    accept
        Keys of conditions that may differ.
    tolerance_pct
        By how much phases of one activity may differ in length (% of the longer).

    Notes
    -----
    Free conditions, and how long a device stayed on the charger, are listed and decide nothing:
    nobody but their author knows what they are worth.
    """

    def __init__(
        self, members: Sequence[Member], *, accept: frozenset[str], tolerance_pct: float
    ) -> None:
        self.members = tuple(members)
        self.accept = accept
        self.tolerance_pct = tolerance_pct
        self.keys = condition_keys(m.session for m in members)
        self._steps = [_steps(m.session) for m in members]
        self._protocols: dict[tuple[int, int], tuple[str, str, Status]] = {}
        self._values: dict[tuple[int, int], dict[str, tuple[object, object]]] = {}
        self._differing: dict[tuple[Appearance, Appearance, bool], tuple[Contrast, ...]] = {}

    def of_sessions(self, first: int, second: int) -> tuple[Contrast, ...]:
        """Return the contrasts of two sessions, for the row as a whole."""
        return self._rows((first, -1), (second, -1))

    def of_unit(self, first: Appearance, second: Appearance) -> tuple[Contrast, ...]:
        """Return the contrasts of one unit in two sessions, software and health included."""
        one, two = (self.members[p.member].session.devices[p.device] for p in (first, second))
        return (
            *self._rows((first.member, first.device), (second.member, second.device)),
            *_device_rows(one, two, self.accept),
        )

    def differing(
        self, first: Appearance, second: Appearance, *, of: Literal["unit", "settings"]
    ) -> tuple[Contrast, ...]:
        """Return what is recorded, differs, and keeps two appearances from being compared.

        Parameters
        ----------
        of
            ``unit``: one unit, software and battery health included; ``settings``: any two
            devices, only what they were set to.
        """
        key = (first, second, of == "unit")
        if key not in self._differing:
            rows = (
                self.of_unit(first, second)
                if of == "unit"
                else self._rows((first.member, first.device), (second.member, second.device))
            )
            self._differing[key] = tuple(c for c in rows if c.decides and c.status == "differs")
        return self._differing[key]

    def _effective(self, place: tuple[int, int]) -> dict[str, tuple[object, object]]:
        """Return key → (value as recorded, in comparable form) of a row (−1) or a device in it."""
        if place not in self._values:
            session = self.members[place[0]].session
            own = session.devices[place[1]].conditions if place[1] >= 0 else {}
            found = {**session.conditions, **own}
            self._values[place] = {k: (found.get(k), _plain(found.get(k))) for k in self.keys}
        return self._values[place]

    def _rows(self, first: tuple[int, int], second: tuple[int, int]) -> tuple[Contrast, ...]:
        pair = first[0], second[0]
        if pair not in self._protocols:
            steps = self._steps[pair[0]], self._steps[pair[1]]
            self._protocols[pair] = _protocol(*steps, self.tolerance_pct)
        one, two, status = self._protocols[pair]
        rows = [
            Contrast(
                key=PROTOCOL, label=_LABELS[PROTOCOL], first=one, second=two, status=status,
                decides=PROTOCOL not in self.accept,
            )
        ]  # fmt: skip
        a, b = self._effective(first), self._effective(second)
        for key in self.keys:
            known = CONDITIONS.get(key)
            if known is None and a[key][1] is None and b[key][1] is None:
                continue
            # the threshold of a saver or dimming that is off decides nothing
            switch = key.removesuffix("_threshold_pct")
            idle = switch != key and a[switch][1] == b[switch][1] == "off"
            rows.append(
                Contrast(
                    key=key,
                    label=full_name(key, key) if known is None else known.label,
                    first=_words(key, a[key][0]),
                    second=_words(key, b[key][0]),
                    status=_alike(key, a[key][1], b[key][1]),
                    decides=known is not None and key not in SAID_ONLY | self.accept and not idle,
                )
            )
        return tuple(rows)

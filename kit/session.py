"""What a record says, once read: devices, conditions, phases and observations.

Everything here is data without behaviour beyond look-up. Times are minutes since the start of
the run (``t_min``); percentages are those displayed; a value that was not recorded is ``None``
(in a frame: NaN or an empty string), never a guess.

A *session* holds one or more *runs* of the same devices through the same phases. An ordinary
session has one run, number 1; replicates in one folder are runs 2, 3, …
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    import pandas as pd

__all__ = [
    "FRAME_COLUMNS",
    "SEEN_ON",
    "Assumptions",
    "Device",
    "Gauge",
    "Phase",
    "PlannedTurn",
    "Run",
    "Session",
    "Source",
    "column_dtype",
    "columns_of",
    "empty_frames",
]

RoundingConvention = Literal["nearest", "truncated", "rounded_up", "unknown"]
GaugeCounts = Literal["charge", "energy", "unknown"]
PhaseKind = Literal["plain", "crossover", "rotation", "until_empty"]


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """How a device's percentage display behaves; ``None`` and ``"unknown"`` = not recorded."""

    rounding: RoundingConvention = "unknown"
    counts: GaugeCounts = "unknown"
    step_pct: float | None = None
    reading_wakes_device: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Device:
    """One unit in the row.

    Parameters
    ----------
    id, label
        ``id`` is the key used in the log; ``label`` is what people read (any text).
    position
        Place in the row, counted from 1 (reading order forward).
    model
        Kind of device; units of one model share it. Empty: every device is its own kind.
    groups
        Names of groups for statements such as "first among the smaller ones".
    display_diagonal_in, display_px
        Display diagonal (inch) and pixel size (width, height).
    rated_energy_wh, rated_energy_tol_pct
        Rated battery energy (Wh) and the half-width of its tolerance (% of rated).
    rated_capacity_mah, nominal_voltage_v
        Rated capacity (mAh) and nominal voltage (V), where printed on the battery.
    health_pct, health_u_pct
        Full-charge capacity of this unit / rated (%), and its standard uncertainty (%).
    conditions
        Exceptions of this device from the session's conditions (same keys).
    """

    id: str
    label: str
    position: int | None = None
    model: str = ""
    groups: tuple[str, ...] = ()
    display_diagonal_in: float | None = None
    display_px: tuple[int, int] | None = None
    rated_energy_wh: float | None = None
    rated_energy_tol_pct: float | None = None
    rated_capacity_mah: float | None = None
    nominal_voltage_v: float | None = None
    health_pct: float | None = None
    health_u_pct: float | None = None
    software: str = ""
    notes: str = ""
    gauge: Gauge = field(default_factory=Gauge)
    conditions: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class PlannedTurn:
    """One turn of a crossover or rotation as it was planned.

    Parameters
    ----------
    start_min, end_min
        Minutes since the start of the phase.
    devices
        Ids of the devices that do ``parts[0]`` then; all others do ``parts[1]``.
    """

    start_min: float
    end_min: float
    devices: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Phase:
    """One timed phase of the protocol, in the order of the session.

    Parameters
    ----------
    kind
        ``plain``: every device does ``activity``. ``crossover``: ``first_half`` names the devices
        that do ``parts[0]`` then ``parts[1]``; the others do them the other way round.
        ``rotation``: one device at a time does ``parts[0]`` for ``turn_min`` while the rest do
        ``parts[1]``. ``until_empty``: runs until the last device powers off.
    planned_turns
        Who was to do ``parts[0]`` when, in order of time; empty = not stated.
    planned_min
        Planned length (min); ``None`` = unknown or until empty.
    start_read_after_min
        So long after the readings before it the row was to be read again for the start of this
        phase (min); infinite: it was not to be; ``None`` = not stated.
    evaluated
        ``False`` for a warm-up: shown, but no result is drawn from it.
    """

    id: str
    label: str
    activity: str = ""
    kind: PhaseKind = "plain"
    planned_min: float | None = None
    content: str = ""
    script: tuple[str, ...] = ()
    screen_on: bool | None = None
    parts: tuple[str, str] | None = None
    first_half: tuple[str, ...] = ()
    turn_min: float | None = None
    evaluated: bool = True
    notes: str = ""
    planned_turns: tuple[PlannedTurn, ...] = ()
    start_read_after_min: float | None = None

    @property
    def is_split(self) -> bool:
        """Whether not all devices do the same thing at the same time."""
        return self.kind in ("crossover", "rotation")


@dataclass(frozen=True, kw_only=True)
class Run:
    """One pass of the row through the phases.

    Parameters
    ----------
    number
        1, 2, … as in the log's ``run`` column.
    start
        Clock time of ``t_min`` = 0 (aware if the session has a time zone); ``None`` when only
        elapsed times were noted. Its date is in year 1 when no date was recorded: then only the
        time of day means anything, and ``Session.date`` is ``None``.
    stop_min
        When the session was stopped (min since start); ``None`` = not recorded.
    stated_elapsed_min
        Total elapsed time as stated by the operator (min); ``None`` = not stated.
    """

    number: int
    start: datetime | None = None
    stop_min: float | None = None
    stated_elapsed_min: float | None = None


@dataclass(frozen=True, kw_only=True)
class Assumptions:
    """Inputs that no reading gives; the report prints each with where it came from.

    A field whose name is in ``stated`` was given in the setup file, the others are the kit's
    defaults.

    Parameters
    ----------
    reading_delay_min
        A reading is made 0 … this long after its boundary (min). 0 = readings made in a pause.
    display_lag_min
        A display shows the charge of up to this long before (min). 0 = it follows at once.
    phase_length_u_min
        Standard uncertainty of a phase's length (min). ``None``: from how its ends were noted.
    gauge_error_pp
        Half-width of the gauge's deviation from true charge (pp), ``A``.
    gauge_correlation_pp
        Distance in state of charge over which that deviation stays alike (pp), ``lam``.
    full_hold_max_min
        Longest time a device may still show 100 % while its charge falls (min).
    gap_rate_factor
        The drain in an unlogged gap is at most this × the device's busiest rate.
    off_pct_max
        Highest percentage that may be shown when a device powers off (%).
    run_unit_cv
        Relative standard deviation of runtime between runs and units of one model.
    wake_drain_pp
        Drain of one look at a device whose reading wakes it (pp).
    plausible_power_w_per_wh
        Highest plausible mean power per rated energy (W per Wh).
    clock_rounding
        How noted minutes were rounded: ``floor`` (a digital clock), ``nearest`` or ``unknown``.
    off_check_min
        Near empty, every device was looked at at least this often (min), so that one noted
        off had been on at most this long before, unless its row says when it was last seen on.
        ``None``: not stated; only "last seen on" and readings count.
    """

    reading_delay_min: float = 2.0
    display_lag_min: float = 0.0
    phase_length_u_min: float | None = None
    gauge_error_pp: float = 3.0
    gauge_correlation_pp: float = 7.0
    full_hold_max_min: float = 0.0
    gap_rate_factor: float = 1.15
    off_pct_max: float = 5.0
    run_unit_cv: float = 0.03
    wake_drain_pp: float = 0.02
    plausible_power_w_per_wh: float = 0.8
    clock_rounding: Literal["floor", "nearest", "unknown"] = "floor"
    off_check_min: float | None = None
    stated: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Source:
    """One input file: name as given, its bytes' SHA-256 and length."""

    name: str
    sha256: str
    size: int
    path: str = ""


# fmt: off
SEEN_ON = "seen on: "
"""A note row whose evidence begins so is a look along the row: the ids of the devices that were
on follow. It gives power-offs their time last seen on, and is no note for the reader."""

FRAME_COLUMNS: Mapping[str, tuple[str, ...]] = {
    # percentage readings and ticks; point: start | end | inside | "" ; kind: reading | tick
    "readings": (
        "run", "device", "phase", "point", "kind", "t_min", "t_resolution_min", "soc_pct",
        "order", "by", "evidence", "note", "line",
    ),
    # one row per device and run at most; still_on: seen on when the session was stopped
    "power_offs": (
        "run", "device", "phase", "still_on", "noted_min", "last_on_min", "first_off_min",
        "t_resolution_min", "soc_pct", "cause", "by", "evidence", "note", "line",
    ),
    # actual times of every phase of every run, in order; *_source: clock | elapsed | planned |
    # reading (the earliest reading at that boundary, where nothing else is known) | "".
    # duration_min is the planned length where one was planned and not both ends were noted
    "spans": (
        "run", "phase", "start_min", "end_min", "start_source", "end_source",
        "duration_min", "duration_u_min", "t_resolution_min", "line",
    ),
    # device "" = the room
    "temperatures": ("run", "device", "phase", "t_min", "temperature_c", "note", "line"),
    "charges": ("run", "device", "phase", "start_min", "end_min", "soc_pct", "note", "line"),
    "incidents": ("run", "device", "phase", "t_min", "cause", "evidence", "note", "line"),
    # who really did which part for how long; completed: yes | no | partly
    "turns": (
        "run", "phase", "device", "activity", "start_min", "end_min", "duration_min",
        "completed", "note", "line",
    ),
}
# fmt: on
"""Columns of the observation frames of a session, in order.

``run`` and ``line`` are int64; ``*_min``, ``*_pct`` and ``*_c`` float64 with NaN for not
recorded; ``still_on`` bool; the rest ``str`` (object or categorical), "" for not recorded.
"""


_SHORT_FRAME = 2000
"""Rows up to which a frame is taken apart in one go."""


def column_dtype(column: str) -> str:
    """Return the type of a column of any observation frame.

    Examples
    --------
    >>> column_dtype("t_min"), column_dtype("run"), column_dtype("still_on"), column_dtype("note")
    ('float64', 'int64', 'bool', 'object')
    """
    if column in ("run", "line", "order"):
        return "int64"
    if column == "still_on":
        return "bool"
    return "float64" if column.endswith(("_min", "_pct", "_c")) else "object"


def columns_of(frame: pd.DataFrame, *names: str) -> list[Any]:
    """Return columns of a frame that are to be read value by value or turned into arrays.

    Parameters
    ----------
    frame
        An observation frame.
    names
        Its columns.

    Returns
    -------
    list
        For each name an array of Python values, taken from the frame in one go, which is some
        five times as fast as one column after the other; of a long frame the columns themselves,
        so that nothing is copied.

    Examples
    --------
    >>> import pandas as pd
    >>> device, soc = columns_of(pd.DataFrame({"device": ["a"], "soc_pct": [87.0]}),
    ...                          "device", "soc_pct")
    >>> device.tolist(), soc.tolist()
    (['a'], [87.0])
    """
    if len(frame) > _SHORT_FRAME:
        return [frame[name] for name in names]
    table = frame.to_numpy(dtype=object)
    place = {name: i for i, name in enumerate(frame.columns)}
    return [table[:, place[name]] for name in names]


def empty_frames() -> dict[str, pd.DataFrame]:
    """Return an empty frame of the right columns and types for each observation table."""
    import pandas as pd

    return {
        name: pd.DataFrame({c: pd.Series(dtype=column_dtype(c)) for c in columns})
        for name, columns in FRAME_COLUMNS.items()
    }


@dataclass(frozen=True, kw_only=True)
class Session:
    """A whole record, ready for analysis. See ``FRAME_COLUMNS`` for the frames.

    Parameters
    ----------
    conditions
        Recorded conditions in the order of the setup file; keys of
        ``kit.read.setup_file.CONDITIONS`` or free ones. A key that is absent was not recorded.
    mixes
        Named usage profiles: name → {activity: weight by time}.
    declared_comparison
        The one pair (device ids) declared before the session, which may be judged by the
        single-pair rule.
    form
        ``"long"`` (one row per observation) or ``"wide"`` (a scorecard).
    """

    id: str
    title: str
    date: date | None = None
    timezone: str = ""
    operator: str = ""
    revision: int = 1
    notes: str = ""
    devices: tuple[Device, ...]
    phases: tuple[Phase, ...]
    runs: tuple[Run, ...]
    conditions: Mapping[str, object] = field(default_factory=dict)
    assumptions: Assumptions = field(default_factory=Assumptions)
    mixes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    declared_comparison: tuple[str, str] | None = None
    sources: tuple[Source, ...] = ()
    form: Literal["long", "wide"] = "long"
    has_setup: bool = True
    readings: pd.DataFrame
    power_offs: pd.DataFrame
    spans: pd.DataFrame
    temperatures: pd.DataFrame
    charges: pd.DataFrame
    incidents: pd.DataFrame
    turns: pd.DataFrame

    def device(self, device_id: str) -> Device:
        """Return the device with this id; ``KeyError`` if there is none."""
        for device in self.devices:
            if device.id == device_id:
                return device
        raise KeyError(device_id)

    def phase(self, phase_id: str) -> Phase:
        """Return the phase with this id; ``KeyError`` if there is none."""
        for phase in self.phases:
            if phase.id == phase_id:
                return phase
        raise KeyError(phase_id)

    @property
    def fingerprint(self) -> str:
        """Return the first 12 hex digits of a SHA-256 over all input files, in order."""
        import hashlib

        digest = hashlib.sha256()
        for source in self.sources:
            digest.update(source.sha256.encode())
        return digest.hexdigest()[:12]

"""What is true in a simulated day: devices, phases, and the person who reads them.

Nothing here is measured or drawn: a scenario is the complete statement of a truth and of the
habits of the operator. :func:`kit.simulate.simulate_day` turns it into observations.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.session import Assumptions, PhaseKind

__all__ = [
    "CHARGE_SHAPE",
    "FLAT_SHAPE",
    "Operator",
    "Scenario",
    "TrueDevice",
    "TrueGauge",
    "TruePhase",
]

TrueRounding = Literal["nearest", "truncated", "rounded_up"]

FLAT_SHAPE: tuple[tuple[float, float], ...] = ((0.0, 0.0), (100.0, 0.0))
"""A cell whose charge falls evenly at constant power."""

CHARGE_SHAPE: tuple[tuple[float, float], ...] = (
    (0.0, 13.0),
    (10.0, 6.0),
    (30.0, 3.0),
    (50.0, 0.5),
    (70.0, -2.5),
    (90.0, -6.5),
    (100.0, -8.0),
)
"""(charge level %, deviation of the rate of charge at constant power from its run average %).

A layered-oxide cell: its voltage falls as it empties, so constant power draws more current near
the end. Derived in docs/measurement.md from typical discharge curves; no single published source.
"""


@dataclass(frozen=True, kw_only=True)
class TrueGauge:
    """How a device turns its true level into the number it shows.

    Parameters
    ----------
    rounding
        ``nearest`` (halves up), ``truncated`` or ``rounded_up``, applied to multiples of
        ``step_pct``.
    counts
        ``charge``: shows the charge left; ``energy``: shows the energy left. The two differ only
        where the device has a ``shape`` that is not flat.
    step_pct
        Smallest step of the display (%).
    lag_min
        The display shows the level of this many minutes ago.
    deviation
        Nodes (level %, shown minus true, pp), joined by straight lines; empty: an exact gauge.
        A node at level 0 is what is still shown when the device powers off.
    """

    rounding: TrueRounding = "nearest"
    counts: Literal["charge", "energy"] = "energy"
    step_pct: float = 1.0
    lag_min: float = 0.0
    deviation: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class TrueDevice:
    """One unit: its battery, what each activity draws, its saver and its gauge.

    Parameters
    ----------
    capacity_wh
        Usable energy of this unit from full to power-off (Wh).
    power_w
        Mean power of each activity (W). Every activity of the scenario must be named,
        the gap activity included.
    start_level_pct
        True energy level at the start of a run (% of ``capacity_wh``); above 100 = topped up
        beyond what the display can show.
    saver_at_pct, saver_cut
        At and below this true energy level the device draws ``1 - saver_cut`` of its power;
        ``None`` = no power saver.
    shape
        Nodes (charge level %, deviation of the rate of charge at constant power %).
    label, model, position
        As in :class:`kit.session.Device`; an empty label repeats the id.
    declared
        What the record says about the device, true or not: fields of
        :class:`kit.session.Device` (``gauge``, ``rated_energy_wh``, …); by default nothing.
    """

    id: str
    capacity_wh: float
    power_w: Mapping[str, float]
    start_level_pct: float = 100.0
    saver_at_pct: float | None = None
    saver_cut: float = 0.0
    shape: tuple[tuple[float, float], ...] = FLAT_SHAPE
    gauge: TrueGauge = field(default_factory=TrueGauge)
    label: str = ""
    model: str = ""
    position: int | None = None
    declared: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class TruePhase:
    """One phase as it is carried out.

    Parameters
    ----------
    activity
        Activity of every device in a ``plain`` or ``until_empty`` phase.
    length_min
        Length on the timer (min); ``None`` only in ``until_empty``: until every device is off.
    gap_after_min
        Time after the phase that belongs to no phase (min).
    gap_activity
        What the devices do in that time.
    parts, first_half, turn_min
        As in :class:`kit.session.Phase`.
    short_turns
        Devices whose rotation turn was broken off, and after how long (min); they then do
        what the rest do.
    """

    id: str
    activity: str = ""
    kind: PhaseKind = "plain"
    length_min: float | None = 60.0
    gap_after_min: float = 0.0
    gap_activity: str = "idle"
    parts: tuple[str, str] | None = None
    first_half: tuple[str, ...] = ()
    turn_min: float | None = None
    short_turns: Mapping[str, float] = field(default_factory=dict)
    label: str = ""


@dataclass(frozen=True, kw_only=True)
class Operator:
    """How the row is read and noted.

    Parameters
    ----------
    delay_max_min
        A boundary is read within this time after it (min), while the next activity runs.
    delay
        ``random``: each reading anywhere within ``delay_max_min``. ``walk``: device k of n in
        walking order at ``(k - 1/2) / n`` of it.
    order
        Walking order along the row: always ``forward``, or ``alternating`` with backward.
    pass_every_min, pass_takes_min
        The operator looks along the row this often, and takes this long for it, to see which
        devices are off.
    first_pass_min
        When the first of these passes begins (min); ``None`` = at a random moment within
        ``pass_every_min``.
    clock
        How a noted minute comes about: ``floor`` (digital clock) or ``nearest``.
    starts
        ``on_the_minute``: the run starts as the clock changes, so that whole minutes of the
        protocol are whole minutes of the clock; ``any_second``: anywhere within the minute noted.
    notes_off
        ``last_and_first``: notes when a device was last seen on and first seen off;
        ``first_off``: only the latter.
    notes_spans
        ``clock``: notes start and end of each phase by the minute; ``timer``: relies on the
        planned length and notes nothing.
    length_sd_min, length_bias_min
        Standard deviation of the real length of a phase about the timer's, and by how much every
        phase is longer than the timer says (min).
    reads_starts
        Phases at whose start the row is also read; ``"all"``: every phase after a gap.
    reads_swaps
        Whether the row is read at the swap of a crossover.
    dense_every_min
        A program logs readings this often besides the boundaries (min), and notes all times
        exactly; ``None`` = no program, minutes by the clock.
    ticks
        Whether every change of the display is noted to the minute.
    miss_probability
        Chance that a reading is left out.
    misread_probability
        Chance that a reading is noted wrongly: in half of the cases one point off, in a quarter
        a digit taken for one that looks like it (three points off), in a quarter with its two
        digits swapped (58 for 85).
    wrong_minute_probability
        Chance that the minute noted for a reading or a power-off is wrong: in half of the cases
        by one, in half by ten, either way. What cannot be, such as a device off before it was
        seen on, is noticed and put right.
    """

    delay_max_min: float = 2.0
    delay: Literal["random", "walk"] = "random"
    order: Literal["forward", "alternating"] = "forward"
    pass_every_min: float = 3.0
    pass_takes_min: float = 1.0
    first_pass_min: float | None = None
    clock: Literal["floor", "nearest"] = "floor"
    starts: Literal["on_the_minute", "any_second"] = "on_the_minute"
    notes_off: Literal["last_and_first", "first_off"] = "last_and_first"
    notes_spans: Literal["clock", "timer"] = "clock"
    length_sd_min: float = 0.0
    length_bias_min: float = 0.0
    reads_starts: tuple[str, ...] | Literal["all"] = ()
    reads_swaps: bool = True
    dense_every_min: float | None = None
    ticks: bool = False
    miss_probability: float = 0.0
    misread_probability: float = 0.0
    wrong_minute_probability: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A day, or several runs of the same day.

    Parameters
    ----------
    runs
        How often the row goes through the phases, each time from ``start_level_pct``.
    run_cv
        Relative standard deviation of every device's power from run to run.
    day_cv
        Relative standard deviation, from run to run, of what the day does to the power of all
        devices alike.
    stop_min
        When the session is stopped (min); ``None`` = at the end of the last phase.
    conditions, assumptions, declared_comparison, mixes
        What the record says, passed on to the session; ``assumptions=None`` = the kit's
        defaults.
    """

    id: str
    devices: tuple[TrueDevice, ...]
    phases: tuple[TruePhase, ...]
    operator: Operator = field(default_factory=Operator)
    title: str = ""
    date: date = date(2026, 5, 16)
    start: time = time(8, 0)
    timezone: str = ""
    runs: int = 1
    run_cv: float = 0.0
    day_cv: float = 0.0
    stop_min: float | None = None
    conditions: Mapping[str, object] = field(default_factory=dict)
    assumptions: Assumptions | None = None
    declared_comparison: tuple[str, str] | None = None
    mixes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

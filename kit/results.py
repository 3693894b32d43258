"""What an analysis found: frames in tidy form, their columns fixed here.

One row is one figure with its unit in the column name. Every frame keeps the order of the
session (run, phase, device); what could not be had is a row with NaN and a ``status`` or
``flags`` that says why; it never vanishes. ``*_u`` is a standard uncertainty; ``*_low`` and
``*_high`` bound the interval with the probability ``settings.coverage``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pandas as pd

    from kit.errors import Finding
    from kit.session import Session

__all__ = ["RESULT_COLUMNS", "Frame", "FrameMapping", "Measurand", "Results", "Settings"]

Measurand = Literal["displayed", "true_charge"]
"""``displayed``: pp of the device's own gauge, for statements within a device.
``true_charge``: pp of usable charge, gauge error included, for statements between devices."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Parameters of one analysis; all of them are printed in the report."""

    coverage: float = 0.95
    seed: int = 20260516
    draws: int = 100_000
    digits: int = 1
    """Significant digits of u to which the draws are to fix every figure."""
    mix: str = ""
    """A usage mix to add to those of the setup file, such as ``"map 3, photo 2"``."""


# fmt: off
RESULT_COLUMNS: Mapping[str, tuple[str, ...]] = {
    # status: measured | died | not_reached | no_reading | saturated | split | unknown_length
    # method: gum | monte_carlo | "" ; flags: codes joined by ";" (see kit.drain.phases.FLAGS)
    "phase_drain": (
        "run", "phase", "device", "measurand", "status", "start_pct", "end_pct",
        "duration_h", "duration_h_u",
        "drain_pp", "drain_pp_u", "drain_pp_low", "drain_pp_high",
        "rate_pp_per_h", "rate_pp_per_h_u", "rate_pp_per_h_low", "rate_pp_per_h_high",
        "method", "flags",
    ),
    # the same figures by Monte Carlo beside the closed form; agrees by JCGM 101 clause 8
    "agreement": (
        "run", "phase", "device", "measurand",
        "gum_low", "gum_high", "mc_low", "mc_high", "mc_u", "tolerance_pp", "agrees", "why",
    ),
    # every other result by both ways, in unit_symbol; quantity, phase and mix as in budgets
    "agreements": (
        "run", "phase", "part", "mix", "device", "quantity", "unit_symbol", "gum_low", "gum_high",
        "mc_low", "mc_high", "mc_u", "tolerance", "agrees", "why",
    ),
    # standard uncertainty (pp) that each source adds to one drain, and its share of u²
    "contributions": ("run", "phase", "device", "measurand", "source", "u_pp", "share"),
    # the same for every other result. quantity: see kit.drain.shares.QUANTITIES and, with run 0,
    # kit.runtime.mean_shares.MEAN_QUANTITIES (of a kind: its name as device); phase is empty for
    # a runtime and for hours on a mix; u of the result, u_source of it from one source
    "budgets": (
        "run", "phase", "part", "mix", "device", "quantity", "unit_symbol", "u", "source",
        "u_source", "share",
    ),
    # the sources in words, for the budget table
    "budget": ("source", "description", "distribution", "value", "unit", "effect_pp",
               "basis", "reference"),
    # after each phase: order by state of charge left; tie_group letters, compact. Ranks and
    # letters compare what the displays show; *_true_charge: the charge left, gauge error included
    "standing": (
        "run", "phase", "device", "soc_pct", "total_drain_pp", "total_drain_pp_u",
        "total_drain_pp_low", "total_drain_pp_high", "rank_best", "rank_worst", "tie_group",
        "rank_best_true_charge", "rank_worst_true_charge", "tie_group_true_charge", "status",
        "method",
    ),
    # who drained less in a phase: single = one pair in one phase, table = all comparisons,
    # declared = all comparisons of the pair declared beforehand ("" and NaN for other pairs)
    "drain_pairs": (
        "run", "phase", "device_a", "device_b", "measurand", "difference_pp",
        "difference_pp_low", "difference_pp_high", "margin_single_pp", "margin_table_pp",
        "verdict_single", "verdict_table", "margin_declared_pp", "verdict_declared",
    ),
    # status: observed | still_on | not_recorded ; basis: in words, how the interval was noted
    "runtimes": (
        "run", "device", "status", "runtime_h", "runtime_h_u", "runtime_h_low",
        "runtime_h_high", "right_censored", "off_low_min", "off_high_min", "last_soc_pct",
        "rank_best", "rank_worst", "tie_group", "p_longest", "basis",
    ),
    # verdict: a | b | too_close | both_still_on | unknown
    "runtime_pairs": (
        "run", "device_a", "device_b", "p_a_longer", "difference_min_low",
        "difference_min_high", "verdict",
    ),
    # hours from 100 % to 0 at this phase's rate; at_least: only the low end is known
    "projections": (
        "run", "phase", "device", "activity", "hours", "hours_u", "hours_low", "hours_high",
        "at_least", "ranked", "method", "flags",
    ),
    "energy": (
        "run", "phase", "device", "energy_wh", "energy_wh_u", "energy_wh_low",
        "energy_wh_high", "power_w", "power_w_u", "power_w_low", "power_w_high", "method", "flags",
    ),
    # crossover and rotation: one row per device and part, plus effect rows with device ""
    "parts": (
        "run", "phase", "device", "part", "exposure_h", "rate_pp_per_h", "rate_pp_per_h_u",
        "rate_pp_per_h_low", "rate_pp_per_h_high", "status", "flags",
    ),
    # several runs: one row per device over its runs
    "replicates": (
        "device", "quantity", "runs", "mean", "s_r", "mean_u", "dof", "mean_low",
        "mean_high", "unit_symbol", "flags", "repeatability_limit",
    ),
    # several units of one model: ISO 5725 components; in Results.extra, like all that follow.
    # dof and dof_runs: of mean_u_units and of mean_u_runs (runs that units shared; 0: none)
    "replicate_models": (
        "model", "quantity", "units", "runs", "mean", "s_r", "s_l", "s_reproducibility",
        "mean_u", "dof", "mean_low", "mean_high", "unit_symbol", "flags", "repeatability_limit",
        "s_l_low", "s_l_high", "mean_u_units", "mean_u_runs", "dof_runs",
    ),
    # verdict: a | b | too_close | unknown ; method: tukey | paired | welch, where a run was not
    # seen to its end signed_rank | rank_sum | seen_scatter, else "" ; p_exact to runs_least only
    # there: p of the runs counted, least p that so many can give, runs that counting takes
    "replicate_pairs": (
        "device_a", "device_b", "quantity", "method", "runs", "difference", "difference_u",
        "dof", "difference_low", "difference_high", "verdict", "runs_a_longer",
        "runs_b_longer", "runs_needed", "unit_symbol", "flags", "p_exact", "p_least",
        "runs_least", "runs_more",
    ),
    # what a run as a whole added to every device
    "run_effects": (
        "run", "quantity", "effect", "effect_u", "effect_low", "effect_high", "unit_symbol",
    ),
    # share of runs still on after each window in which it drops. of: device (several runs), model
    # (several units) or group (several runs); of the latter two, device is "" and name says which
    "survival": (
        "device", "time_h_low", "time_h_high", "at_risk", "events", "share_on", "share_on_u",
        "share_on_low", "share_on_high", "of", "name",
    ),
    # mean runtime counted up to horizon_h, which all runs of the row reach or end before
    "restricted_means": ("device", "runs", "observed", "horizon_h", "mean_h", "mean_h_u",
                         "median_h", "of", "name"),
    # does a power-off in mid-phase fit the stated elapsed time or the summed phases? Shares of the
    # phase: by its drain, and by either time. verdict: stated | summed | both | neither | agree
    # (the two times do) | cannot_be_said; summed_min NaN: the last phase was filled up to the stop
    "elapsed_fit": (
        "run", "device", "phase", "stated_min", "summed_min", "unaccounted_min",
        "exposure_stated_min", "exposure_summed_min", "exposure_fit_min",
        "exposure_fit_min_low", "exposure_fit_min_high", "verdict", "reason",
        "share_fit", "share_fit_low", "share_fit_high", "share_stated", "share_summed",
    ),
    # sentences people want to say. kind: this_session | kind_of_device ; priority: 1 opens the
    # report, 2 belongs into its table, 3 into the full list; verdict: supported | not_supported
    # (the opposite holds) | tied | cannot_be_said; wording is true whatever the verdict
    "claims": (
        "run", "priority", "kind", "code", "device_a", "device_b", "group", "phase_from",
        "phase_to", "measurand", "statement", "verdict", "lead", "lead_low", "lead_high",
        "needed", "unit_symbol", "method", "reason", "wording",
    ),
    # the verdicts alone, row by row as in claims: for counting over many sessions
    "verdicts": (
        "run", "priority", "kind", "code", "device_a", "device_b", "group", "phase_from",
        "phase_to", "measurand", "verdict",
    ),
    # printed verdicts that would be others with half or twice an assumption
    "assumption_shifts": (
        "assumption", "used", "tried", "run", "statement", "verdict", "verdict_then",
    ),
    # single readings whose misreading would change a claim, most dangerous first over all runs;
    # run: that of the reading
    "load_bearing": (
        "run", "rank", "statement", "verdict", "verdict_if_misread", "what", "device", "phase",
        "point", "column", "noted", "instead", "slip", "affected", "line", "evidence",
    ),
    # claims of the report whose verdict no single slip changes; run 0: over all of them
    "robust_claims": ("run", "statement", "verdict"),
    # hours on a mix of activities from 100 % to 0, with the order of the devices on it
    "mixes": (
        "run", "mix", "device", "rate_pp_per_h", "rate_pp_per_h_u", "rate_pp_per_h_low",
        "rate_pp_per_h_high", "hours", "hours_u", "hours_low", "hours_high", "at_least",
        "rank_best", "rank_worst", "tie_group", "missing", "method",
    ),
    # what the mixes are made of: share of the time of each activity
    "mix_parts": ("mix", "activity", "share"),
    # who lasts longest as the share of one activity of a mix goes from 0 to 1
    "mix_shifts": (
        "run", "mix", "activity", "share", "share_from", "share_to", "device", "supported",
    ),
    # an activity done early and again late; verdict: charge | energy | neither | cannot_tell
    "reference_repeats": (
        "run", "device", "activity", "phase_first", "phase_last", "level_first_pct",
        "level_last_pct", "ratio", "ratio_u", "ratio_low", "ratio_high", "ratio_if_charge",
        "charge_share", "charge_share_low", "charge_share_high", "verdict",
    ),
    # rates of the two halves of a phase with dense readings; verdict: even | faster | slower |
    # too_few
    "within_phase": (
        "run", "phase", "device", "ticks", "rate_pp_per_h", "rate_u_pp_per_h",
        "rate_first_pp_per_h", "rate_first_u_pp_per_h", "rate_second_pp_per_h",
        "rate_second_u_pp_per_h", "ratio", "ratio_low", "ratio_high", "verdict",
    ),
    # shape of a gauge under a constant load, all dense phases of a device together: share of the
    # level effect, 0 counts energy, 1 counts charge; verdict as in reference_repeats
    "gauge_shape": (
        "run", "device", "phases", "changes", "level_high_pct", "level_low_pct", "share", "share_u",
        "share_low", "share_high", "verdict",
    ),
    # rate by level within one phase; relative to all of the phase
    "rate_by_level": (
        "run", "phase", "device", "level_high_pct", "level_low_pct", "steps", "rate_pp_per_h",
        "rate_u_pp_per_h", "relative", "relative_low", "relative_high", "relative_if_charge",
    ),
    # half-widths of displayed drains with and without the display changes that were noted or
    # are to be seen in a dense log; NaN without: there would be no drain
    "tick_gain": ("run", "phase", "device", "half_width_pp", "half_width_without_pp"),
    # windows of power-offs with and without the noted display changes; longer_than: devices than
    # which it is known to have run longer only by them
    "runtime_tick_gain": (
        "run", "device", "on_until_min", "on_until_without_min", "window_min",
        "window_without_min", "longer_than",
    ),
    # mean power per display area, and per area and luminance where that is recorded
    "specific_power": (
        "run", "phase", "device", "area_cm2", "power_mw_per_cm2", "power_mw_per_cm2_u",
        "power_mw_per_cm2_low", "power_mw_per_cm2_high", "power_mw_per_cd", "power_mw_per_cd_u",
        "power_mw_per_cd_low", "power_mw_per_cd_high",
    ),
    # index formula of Regulation (EU) 2023/1669 only, not that regulation's test
    "endurance_index": (
        "run", "device", "runtime_h", "nominal_voltage_v", "rated_capacity_mah", "index_per_w",
        "index_per_w_u", "index_per_w_low", "index_per_w_high", "class_low", "class_high",
    ),
    # runs of one device as windows: mean and scatter by maximum likelihood (normal)
    "group_fits": ("device", "runs", "observed", "mean_h", "mean_h_u", "sd_h"),
    # runs of two devices without a distribution: pairs of runs that are decided, exact p over all
    # ways of sharing out the runs, least p that so many runs can give, log-rank test
    "group_pairs": (
        "device_a", "device_b", "runs_a", "runs_b", "pairs_a_longer", "pairs_b_longer",
        "pairs_open", "p_exact", "p_least", "log_rank_chi_square", "log_rank_p",
    ),
    # the Monte Carlo calculation: draws made, most draws allowed, significant digits of u that
    # stand (0: not even one)
    "monte_carlo": ("draws", "draws_most", "digits"),
}
# fmt: on


class Frame:
    """Attribute of `Results` that holds a frame, or the function that makes it when it is read.

    The frame is made once. Two threads that read it first at the same time may both make it: the
    functions are pure, so the frames are equal.
    """

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name

    def __get__(self, holder: object, owner: type | None = None) -> pd.DataFrame:
        if holder is None:  # a dataclass asks so for a default; there is none
            raise AttributeError(self.name)
        kept = vars(holder)
        if callable(kept[self.name]):
            kept[self.name] = kept[self.name]()
        frame: pd.DataFrame = kept[self.name]
        return frame

    def __set__(self, holder: object, value: pd.DataFrame | Callable[[], pd.DataFrame]) -> None:
        vars(holder)[self.name] = value


class FrameMapping(Mapping[str, "pd.DataFrame"]):
    """Frames by name, each made when it is first read and then kept.

    Parameters
    ----------
    makers
        Name → function that makes the frame. Pure functions: as for `Frame`.
    """

    def __init__(self, makers: Mapping[str, Callable[[], pd.DataFrame]]) -> None:
        self._kept: dict[str, Any] = dict(makers)

    def __getitem__(self, name: str) -> pd.DataFrame:
        if callable(self._kept[name]):
            self._kept[name] = self._kept[name]()
        frame: pd.DataFrame = self._kept[name]
        return frame

    def __contains__(self, name: object) -> bool:
        return name in self._kept

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)

    def __reduce__(self) -> tuple[type, tuple[dict[str, pd.DataFrame]]]:
        return dict, (dict(self),)


@dataclass(frozen=True, kw_only=True)
class Results:
    """All results of one session. Frames have the columns of ``RESULT_COLUMNS``.

    A frame may be given as the function that makes it: it is then made when first read, so that
    who reads two frames of ten thousand sessions does not wait for the other thirty.
    ``dataclasses.replace`` and pickling make all of them.

    Parameters
    ----------
    findings
        What the checks found, cautions and notes only (an error stops before analysis).
    glance
        Three to five plain sentences that the figures support, most important first.
    """

    session: Session
    settings: Settings
    findings: tuple[Finding, ...]
    phase_drain: Frame = Frame()
    agreement: Frame = Frame()
    contributions: Frame = Frame()
    budget: Frame = Frame()
    standing: Frame = Frame()
    drain_pairs: Frame = Frame()
    runtimes: Frame = Frame()
    runtime_pairs: Frame = Frame()
    projections: Frame = Frame()
    energy: Frame = Frame()
    parts: Frame = Frame()
    replicates: Frame = Frame()
    glance: tuple[str, ...] = ()
    extra: Mapping[str, pd.DataFrame] = field(default_factory=dict)

    def __getstate__(self) -> dict[str, object]:
        return {f.name: getattr(self, f.name) for f in fields(self)}

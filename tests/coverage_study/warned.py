"""Whether a warning comes of an effect outside the model, and whether the effect matters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.simulate import simulate_day
from tests.coverage_study.intervals import of_measurand

if TYPE_CHECKING:
    import pandas as pd

    from kit.session import Session
    from kit.simulate import Truth
    from tests.coverage_study.tally import Tally
    from tests.coverage_study.world import World

__all__ = ["Told", "count_warnings"]


@dataclass(frozen=True)
class Told:
    """What the kit said of a session, for the warnings.

    Parameters
    ----------
    flagged
        Frames with flags.
    spoken
        Rules of the checks that spoke up.
    """

    drains: pd.DataFrame
    runtimes: pd.DataFrame
    flagged: tuple[pd.DataFrame, ...]
    spoken: frozenset[str]

    def warned(self, world: World) -> bool:
        """Return whether one of the warnings came."""
        cells = {cell for frame in self.flagged for cell in set(frame["flags"])}
        flags = {flag for cell in cells for flag in cell.split(";")}
        return bool((self.spoken | flags) & set(world.warns))


def count_warnings(tally: Tally, world: World, truth: Truth, session: Session, told: Told) -> None:
    """Count sessions in which a warning comes, and those in which the effect matters.

    It matters where it is larger than the half-width of an interval that the session states: the
    truth with the effect against the truth of the same day without it.
    """
    warned = told.warned(world)
    tally.add("warned", warned)
    if world.without is None:
        return
    matters = _matters(world, truth, session, told)
    tally.add("matters", matters)
    if matters:
        tally.add("warned where it matters", warned)


def _matters(world: World, truth: Truth, session: Session, told: Told) -> bool:
    assert world.without is not None
    if world.matters == "step":
        whole = replace(
            session,
            devices=tuple(
                replace(d, gauge=replace(d.gauge, step_pct=1.0)) for d in session.devices
            ),
        )
        found = phase_drain(whole, Settings())
        effect = (found["drain_pp"].to_numpy()[0::2] - truth.drains["shown_drain_pp"]).to_numpy()
        names = ("drain_pp_low", "drain_pp_high", "status")
        low, high, status = of_measurand(found, "displayed", names)
    else:
        quiet = simulate_day(world.without(truth.scenario), np.random.default_rng(0))[0]
        if world.matters == "runtime":
            effect = (truth.runtimes["off_min"] - quiet.runtimes["off_min"]).to_numpy()
            low, high = (told.runtimes[f"runtime_h_{e}"].to_numpy() * 60.0 for e in ("low", "high"))
            status = np.where(told.runtimes["right_censored"], "", "measured")
        else:
            first_counts = world.matters == "shown_first"
            kind = world.matters.removesuffix("_first")
            column = f"{kind}_drain_pp"
            effect = (truth.drains[column] - quiet.drains[column]).to_numpy()
            measurand = {"shown": "displayed", "charge": "true_charge"}[kind]
            names = ("drain_pp_low", "drain_pp_high", "status")
            low, high, status = of_measurand(told.drains, measurand, names)
            first = (truth.drains["phase"] == truth.scenario.phases[0].id).to_numpy()
            status = np.where(first == first_counts, status, "")
    with np.errstate(invalid="ignore"):
        larger = np.abs(effect) > (high - low) / 2.0
    return bool((larger & (status == "measured")).any())

"""What one scenario of the coverage study is, and what most of them have in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from kit.session import Assumptions
from kit.simulate import Limits, Operator

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from kit.session import Session
    from kit.simulate import Scenario

__all__ = ["BASE", "EXACT", "World", "operator"]

EXACT = Assumptions(gauge_error_pp=0.0)
"""The record says that the gauges have no error (so none hides the rest)."""

NO_SAVER = {"power_saver": "off", "dimming": "off", "held_full_min": 30, "start_charge_pct": 100}

BASE = Limits(assumptions=EXACT, conditions=NO_SAVER, operator=Operator(starts="any_second"))


def operator(**changes: object) -> Operator:
    """Return the operator of most worlds, with some of the habits changed."""
    return replace(Operator(starts="any_second"), **changes)


@dataclass(frozen=True, kw_only=True)
class World:
    """One scenario of the study.

    Parameters
    ----------
    draw
        Limits of a random day, or a function that draws one.
    kind
        ``inside``: the model claims to cover it; ``priors``: a stated input is wrong;
        ``outside``: an effect that the model has no term for.
    bounds
        Figures whose interval here is a bound and not an estimate, and why: coverage above
        99.5 % is then what it should be.
    one_rounding
        All gauges round in one way, which the record does not say: the draws hold on average over
        all ways and not for each.
    times
        So many times the sessions of the other worlds: where a figure has few cases or little room.
    warns
        Rules of the checks, or flags of the drains or projections, one of which should speak up.
    without
        The same day without the effect, for a world outside the model.
    matters
        What the effect is held against: ``shown`` or ``charge``, the drains by the display or of
        charge after the first phase; ``shown_first``, those of the first; ``runtime``; ``step``,
        the drains by the display against the interval that would be stated if it were taken to
        show whole per cents.
    harmless
        The effect is there to show that it is too small to matter.
    noted
        What else the record says of the day.
    """

    name: str
    says: str
    draw: Limits | Callable[[np.random.Generator], Scenario]
    kind: Literal["inside", "priors", "outside"] = "inside"
    bounds: tuple[str, ...] = ()
    one_rounding: bool = False
    times: int = 1
    warns: tuple[str, ...] = ()
    without: Callable[[Scenario], Scenario] | None = None
    matters: Literal["shown", "shown_first", "charge", "runtime", "step"] = "shown"
    harmless: bool = False
    noted: Callable[[Session], Session] | None = None

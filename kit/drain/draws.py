"""How many draws the Monte Carlo calculation of a session takes: until its figures stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.drain.phases import AGREEMENT_DIGITS
from kit.drain.simulation import simulate_drains, simulate_to_digits
from kit.stats.monte_carlo import block_size

if TYPE_CHECKING:
    import pandas as pd

    from kit.drain.phases import Prepared
    from kit.drain.simulation import Simulated
    from kit.results import Settings

__all__ = ["enough_draws", "monte_carlo"]


def enough_draws(ready: Prepared, settings: Settings) -> Simulated:
    """Return the drains by Monte Carlo with as many draws as it takes, ``settings.draws`` at most.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    settings
        Coverage, seed and the most draws.

    Returns
    -------
    Simulated
        ``stable_digits``: significant digits of u to which u and both ends of every drain stand,
        1, or 0 if the draws did not suffice for it.

    References
    ----------
    JCGM 101:2008, 7.9.4 (from memory): blocks of draws until the figures are stable.
    """
    if settings.draws < 2 * block_size(settings.coverage):
        return simulate_drains(
            ready, draws=settings.draws, seed=settings.seed, coverage=settings.coverage
        )
    return simulate_to_digits(
        ready,
        digits=AGREEMENT_DIGITS,
        seed=settings.seed,
        coverage=settings.coverage,
        max_draws=settings.draws,
    )


def monte_carlo(simulated: Simulated, settings: Settings) -> pd.DataFrame:
    """Return the one row that says how many draws were made and how far their figures stand.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["monte_carlo"]``.
    """
    import pandas as pd

    from kit.results import RESULT_COLUMNS

    row = (simulated.draws, settings.draws, simulated.stable_digits)
    return pd.DataFrame([row], columns=list(RESULT_COLUMNS["monte_carlo"]))

"""Units side by side in runs, by restricted maximum likelihood of another library."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from kit.stats.components import mean_of_kind


@pytest.mark.system
def test_units_and_days_as_crossed_random_effects():
    """Of complete tables with positive components both methods estimate the same.

    Our u of the mean has the rest twice, in the unit means and in the run means: the library's
    variance of the mean and that of the rest, over all values, are ours.
    """
    api = pytest.importorskip("statsmodels.formula.api")
    rng = np.random.default_rng(7)
    y = (
        600.0
        + 12.0 * rng.standard_normal((1, 5))
        + 9.0 * rng.standard_normal((6, 1))
        + 3.0 * rng.standard_normal((6, 5))
    )
    run, unit = np.indices(y.shape)
    table = pd.DataFrame({"y": y.ravel(), "run": run.ravel(), "unit": unit.ravel(), "all": 1})
    effects = {"run": "0 + C(run)", "unit": "0 + C(unit)"}
    with warnings.catch_warnings():
        # it warns of its own use of the one group
        warnings.simplefilter("ignore")
        theirs = api.mixedlm("y ~ 1", table, groups="all", vc_formula=effects).fit(reml=True)
    ours = mean_of_kind(y)
    of_runs, of_units = theirs.vcomp
    assert ours.mean == pytest.approx(float(theirs.params["Intercept"]), rel=1e-9)
    assert ours.s_l**2 == pytest.approx(of_units, rel=1e-4)
    assert ours.between.ms_within == pytest.approx(theirs.scale, rel=1e-4)
    # s²(run means) = σ_run² + σ²/5, over 6 runs
    assert ours.u_runs**2 == pytest.approx((of_runs + theirs.scale / 5) / 6, rel=1e-4)
    variance = ours.u_units**2 + ours.u_runs**2
    assert variance - theirs.scale / 30 == pytest.approx(theirs.bse["Intercept"] ** 2, rel=1e-4)

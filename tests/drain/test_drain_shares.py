"""The budgets of all results: complete, and adding up to the u that is stated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analyse import analyse
from kit.checks import check_session
from kit.drain.shares import QUANTITIES
from kit.places import samples_folder
from kit.read.record import read_record
from kit.results import Results, Settings

STATED = {
    "total_drain": ("standing", "total_drain_pp_u"),
    "hours": ("projections", "hours_u"),
    "energy": ("energy", "energy_wh_u"),
    "power": ("energy", "power_w_u"),
    "runtime": ("runtimes", "runtime_h_u"),
    "mix_hours": ("mixes", "hours_u"),
}


def results_of(path: Path) -> Results:
    session, findings = read_record(path)
    return analyse(session, (*findings, *check_session(session)), Settings(draws=10_000))


@pytest.fixture(scope="module")
def day() -> Results:
    return results_of(samples_folder() / "full-day")


def frame_of(results: Results, name: str) -> pd.DataFrame:
    frame = results.extra[name] if name in results.extra else getattr(results, name)
    assert isinstance(frame, pd.DataFrame)
    return frame.assign(**{key: "" for key in ("phase", "mix") if key not in frame})


@pytest.mark.parametrize("sample", ["full-day", "minute-log", "replicates"])
def test_the_sources_of_every_result_add_up_to_its_stated_uncertainty(sample: str) -> None:
    results = results_of(samples_folder() / sample)
    budget = results.extra["budgets"]
    keys = ["run", "phase", "mix", "device"]
    summed = budget.assign(square=budget["u_source"] ** 2).groupby(["quantity", *keys])
    whole = np.sqrt(summed["square"].sum())
    assert whole.to_numpy() == pytest.approx(summed["u"].first().to_numpy(), rel=1e-9)
    assert summed["share"].sum().to_numpy() == pytest.approx(1.0)
    for quantity, (name, column) in STATED.items():
        stated = frame_of(results, name).set_index(keys)[column].dropna()
        stated = stated[stated > 0.0]
        if quantity not in budget["quantity"].to_numpy():
            assert stated.empty, quantity
            continue
        found = whole.loc[quantity]
        assert set(stated.index) <= set(found.index), quantity
        assert found[stated.index].to_numpy() == pytest.approx(stated.to_numpy(), rel=1e-9), (
            quantity
        )
    rates = results.phase_drain.assign(mix="").set_index(["measurand", *keys])
    for measurand in ("displayed", "true_charge"):
        u = rates.loc[measurand]["rate_pp_per_h_u"].dropna()
        u = u[u > 0.0]
        found = whole.loc[f"{measurand}_rate"]
        assert found[u.index].to_numpy() == pytest.approx(u.to_numpy(), rel=1e-9)


def test_every_kind_of_result_of_a_full_day_has_a_budget(day: Results) -> None:
    assert tuple(dict.fromkeys(day.extra["budgets"]["quantity"])) == QUANTITIES


def test_energy_names_the_rated_energy_and_the_health(day: Results) -> None:
    # Limpet: 30.2 Wh ± 3 % (rectangular), health 97 %, u = 2 %
    rows = day.extra["budgets"].query(
        "quantity == 'energy' and phase == 'p1' and device == 'limpet'"
    )
    u = rows.set_index("source")["u_source"]
    wh = day.energy.query("phase == 'p1' and device == 'limpet'")["energy_wh"].iloc[0]
    assert u["rated_energy"] == pytest.approx(wh * 0.03 / 3**0.5)
    assert u["health"] == pytest.approx(wh * 2 / 97)
    assert "phase_length" not in u


def test_a_runtime_is_uncertain_by_its_power_off_and_its_start(day: Results) -> None:
    # Limpet: on 17:20, off 17:23, both minutes begun: 4 min; the start: one minute
    rows = day.extra["budgets"].query("quantity == 'runtime' and device == 'limpet'")
    u = rows.set_index("source")["u_source"] * 60
    assert u.to_dict() == pytest.approx({"power_off": 4 / 12**0.5, "start": 1 / 12**0.5})
    # still on at the stop: a lower bound, no u
    assert day.extra["budgets"].query("quantity == 'runtime' and device == 'kelpfin'").empty

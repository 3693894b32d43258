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
from kit.session import Assumptions, Device, Gauge
from kit.show import tables
from tests.helpers.builders import join_runs, make_session

STATED = {
    "total_drain": ("standing", "total_drain_pp_u"),
    "hours": ("projections", "hours_u"),
    "energy": ("energy", "energy_wh_u"),
    "power": ("energy", "power_w_u"),
    "power_per_area": ("specific_power", "power_mw_per_cm2_u"),
    "power_per_luminance": ("specific_power", "power_mw_per_cd_u"),
    "part_rate": ("parts", "rate_pp_per_h_u"),
    "runtime": ("runtimes", "runtime_h_u"),
    "endurance_index": ("endurance_index", "index_per_w_u"),
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
    return frame.assign(**{key: "" for key in ("phase", "part", "mix") if key not in frame})


@pytest.mark.parametrize("sample", ["full-day", "minute-log", "replicates"])
def test_the_sources_of_every_result_add_up_to_its_stated_uncertainty(sample: str) -> None:
    results = results_of(samples_folder() / sample)
    budget = results.extra["budgets"]
    keys = ["run", "phase", "part", "mix", "device"]
    summed = budget.assign(square=budget["u_source"] ** 2).groupby(["quantity", *keys])
    whole = np.sqrt(summed["square"].sum())
    assert whole.to_numpy() == pytest.approx(summed["u"].first().to_numpy(), rel=1e-9)
    assert summed["share"].sum().to_numpy() == pytest.approx(1.0)
    for quantity, (name, column) in STATED.items():
        frame = frame_of(results, name)
        # the effects of a crossover are of no one device
        stated = frame[frame["device"] != ""].set_index(keys)[column].dropna()
        stated = stated[stated > 0.0]
        if quantity not in budget["quantity"].to_numpy():
            assert stated.empty, quantity
            continue
        found = whole.loc[quantity]
        assert set(stated.index) <= set(found.index), quantity
        assert found[stated.index].to_numpy() == pytest.approx(stated.to_numpy(), rel=1e-9), (
            quantity
        )
    rates = results.phase_drain.assign(mix="", part="").set_index(["measurand", *keys])
    for measurand in ("displayed", "true_charge"):
        u = rates.loc[measurand]["rate_pp_per_h_u"].dropna()
        u = u[u > 0.0]
        found = whole.loc[f"{measurand}_rate"]
        assert found[u.index].to_numpy() == pytest.approx(u.to_numpy(), rel=1e-9)
    for name, key, of_kind in (
        ("replicates", "device", ""), ("replicate_models", "model", "_of_kind"),
    ):  # fmt: skip
        means = frame_of(results, name).dropna(subset="mean_u")
        assert len(means) > 0 or sample != "replicates" or of_kind
        for row in means[means["mean_u"] > 0.0].to_dict("records"):
            phase = row["quantity"].partition(":")[2]
            quantity = f"mean_{'drain' if phase else 'runtime'}{of_kind}"
            assert whole[quantity, 0, phase, "", "", row[key]] == pytest.approx(row["mean_u"])


def test_means_rest_on_runs_units_and_each_run() -> None:
    """Two units side by side in two runs, windows of 2 min: 600 612, 610 626.

    Unit means 605, 619: s = 9.899, u = 7. Run means 606, 618: u = 6. One window: 2/√12 = 0.577.
    A unit: 600 and 610, s/√2 = 5; 612 and 626, 7.
    """
    devices = [Device(id=k, label=k, model="Limpet 10") for k in ("a", "b")]
    minutes = {"a": (600, 610), "b": (612, 626)}
    runs = [
        make_session(
            devices=devices, phases={"day": 1000}, start=None,
            power_offs={k: {"last_on_min": m[r] - 1.0, "first_off_min": float(m[r])}
                        for k, m in minutes.items()},
        )
        for r in range(2)
    ]  # fmt: skip
    results = analyse(join_runs(*runs), (), Settings(draws=0))
    rows = results.extra["budgets"]

    def of(quantity: str, device: str) -> dict[str, float]:
        found = rows[(rows["quantity"] == quantity) & (rows["device"] == device)]
        return dict(zip(found["source"], 60 * found["u_source"], strict=True))

    assert of("mean_runtime_of_kind", "Limpet 10") == pytest.approx(
        {"between_units": 7, "between_runs": 6, "each_run": 2 / 12**0.5}
    )
    for device, u in (("a", 5), ("b", 7)):
        assert of("mean_runtime", device) == pytest.approx(
            {"between_runs": u, "each_run": 2 / 12**0.5}
        )
    assert set(rows.loc[rows["quantity"].str.startswith("mean"), "run"]) == {0}
    table = tables.mean_shares(results)
    assert table is not None
    names = [column.name for column in table.columns]
    # 36/(49 + 36 + 1/3) = 42 %; of the units 25/25.33 and 49/49.33: 99 % in the mean
    between = next(row for row in table.rows if row[0] == "scatter between runs")
    assert between[names.index("Mean runtime of a kind")] == "42"
    assert between[names.index("Mean runtime")] == "99"


def test_every_kind_of_result_of_a_full_day_has_a_budget(day: Results) -> None:
    # no luminance was measured on that day
    there = tuple(name for name in QUANTITIES if name != "power_per_luminance")
    assert tuple(dict.fromkeys(day.extra["budgets"]["quantity"])) == there


def test_power_per_luminance_and_index_have_the_sources_of_what_they_are_made_of() -> None:
    """200 cd/m² on 10 in, 4 to 3 (309.7 cm²): power × 1000/309.7 mW/cm², that over 0.02 cd/cm².

    Index: 1000/(3.8 · 8000) of the runtime in h.
    """
    device = Device(
        id="a", label="a", rated_energy_wh=30, display_diagonal_in=10.0, display_px=(2048, 1536),
        nominal_voltage_v=3.8, rated_capacity_mah=8000,
    )  # fmt: skip
    s = make_session(
        devices=[device], phases={"p": 60, "q": 600}, readings={"a": [90, 80]},
        conditions={"luminance_cd_m2": 200},
        power_offs={"a": {"noted_min": 303, "last_on_min": 300, "first_off_min": 303}},
    )  # fmt: skip
    rows = analyse(s, (), Settings(draws=0)).extra["budgets"]
    of = rows[rows["phase"].isin(["p", ""])].set_index(["quantity", "source"])["u_source"]
    for source, u in of["power"].items():
        assert of["power_per_area", source] == pytest.approx(u * 1000 / 309.6768, rel=1e-6)
        assert of["power_per_luminance", source] == pytest.approx(u * 1000 / 309.6768 / 0.02,
                                                                  rel=1e-6)  # fmt: skip
    for source, u in of["runtime"].items():
        assert of["endurance_index", source] == pytest.approx(u * 1000 / (3.8 * 8000))


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


def test_hours_energy_and_power_agree_with_draws_from_first_principles() -> None:
    """Another road: every fraction, gauge error, length, share, energy and health is drawn.

    88 to 66 % by a display that rounds to the nearest, in 90 min with u = 0.6 min, from a charge
    that was full before; gauge 3 pp over 7 pp, nought at 100 %. 30 Wh ± 3 %, health 82 %, u = 2 %.
    β at 77 %, between −6.5 % at 90 and −2.5 % at 70: −6.5 + 13/20 · 4 = −3.9 %, of which a share
    of 0 to 1 counts.
    """
    device = Device(
        id="a", label="a", rated_energy_wh=30, rated_energy_tol_pct=3, health_pct=82,
        health_u_pct=2, gauge=Gauge(rounding="nearest"),
    )  # fmt: skip
    session = make_session(
        devices=[device], phases={"p1": 60, "p2": 90}, readings={"a": [100, 88, 66]},
        assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0.6),
    )  # fmt: skip
    results = analyse(session, (), Settings(draws=10_000))
    n, rng = 400_000, np.random.default_rng(7)
    levels = np.array([88.0, 66.0])
    alike = 3.0 * np.exp(-((levels[:, None] - levels) ** 2) / 98.0)
    to_full = 3.0 * np.exp(-((levels - 100.0) ** 2) / 98.0)
    gauge = rng.multivariate_normal([0, 0], alike - np.outer(to_full, to_full) / 3.0, n)
    read = levels + rng.uniform(-0.5, 0.5, (n, 2)) + gauge
    drain = (read[:, 0] - read[:, 1]) / (1.0 - 0.039 * rng.uniform(0, 1, n))
    hours = rng.normal(1.5, 0.01, n)
    wh = 30 * rng.uniform(0.97, 1.03, n) * rng.normal(0.82, 0.02, n)
    drawn = {
        ("projections", "hours"): 100 * hours / drain,
        ("energy", "energy_wh"): drain / 100 * wh,
        ("energy", "power_w"): drain / 100 * wh / hours,
    }
    for (name, column), values in drawn.items():
        row = frame_of(results, name).query("phase == 'p2'").iloc[0]
        inside = (values >= row[f"{column}_low"]) & (values <= row[f"{column}_high"])
        assert 0.95 <= inside.mean() <= 0.97, column
        assert float(np.median(values)) == pytest.approx(row[column], rel=0.01), column
        # 100/r is bent: at u_r/r = 11 % its spread is some 5 % more than that of the straight line
        near = 0.08 if column == "hours" else 0.03
        assert row[f"{column}_u"] == pytest.approx(float(values.std()), rel=near), column

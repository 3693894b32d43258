"""What is read between the boundaries, as it is shown: ticks, evenness, repeated phases, power."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit import report
from kit.analyse import analyse
from kit.drain.gauge import CHARGE_EXCESS, CHARGE_EXCESS_LEVEL_PCT
from kit.results import Results, Settings
from kit.session import Assumptions, Device, Gauge, Phase, Session
from kit.show import tables, wording
from kit.show.flag_words import flag_text
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, join_runs, make_session
from tests.helpers.fake_results import fake_results, rows
from tests.helpers.shown import plain

FEW = Settings(draws=10_000)


def analysed(**given: object) -> Results:
    session: Session = make_session(**{"assumptions": BARE, **given})  # type: ignore[arg-type]  # by name
    return analyse(session, (), FEW)


def ticks(*marks: tuple[float, float]) -> list[dict[str, object]]:
    """Return changes of the display of a: minute, number shown after it."""
    return [
        {"device": "a", "kind": "tick", "t_min": t, "soc_pct": level, "t_resolution_min": 1.0}
        for t, level in marks
    ]


def test_ticks_are_said_to_gain_what_they_gain() -> None:
    """Two readings: ± 0.80 pp. Two ticks: the fraction is known, the time to the minute.

    Tick and boundary are each noted to a minute: √2/√12 = 0.408 min, at 10 pp/h 0.068 pp; 10 % of
    the 0.33 pp over which each is carried, 0.033 pp. Twice both: √(2 × 0.068² + 2 × 0.033²) =
    0.107, U = 0.214, and a little more, since the rate comes from the same ticks.
    """
    results = analysed(
        phases={"p1": 60, "p2": 60},
        readings={"a": [99, 90, 80]},
        more_readings=ticks((62, 89), (118, 80)),
    )
    row = results.extra["tick_gain"].query("phase == 'p2'").iloc[0]
    assert row["half_width_without_pp"] == pytest.approx(0.80, abs=0.005)
    assert row["half_width_pp"] == pytest.approx(0.214, abs=0.01)
    text = plain(wording.ticks_gained(results))
    assert text.startswith("The noted changes of the display made two displayed drains sharper")
    page = report.phase_drain(results)
    assert any("What changes of the display gained" in getattr(i, "text", "") for i in page)


def test_without_ticks_nothing_is_said_of_them() -> None:
    results = analysed(phases={"p1": 60}, readings={"a": [95, 90]})
    assert results.extra["tick_gain"].empty
    assert wording.ticks_gained(results) == ""


def test_a_phase_that_slows_down_is_not_even() -> None:
    """Ticks every 3 min, then every 6: 20 pp/h, then 10 pp/h, ratio ½.

    u of the ratio: steps 0.1/√4 each, so 0.071 relative; times ± 1 min/√12 = 0.29 min at both
    ends of 12 and 24 min: 0.034 and 0.017; the interval stays below 1 by far.
    """
    marks = [(3 * k, 90 - k) for k in range(1, 6)] + [(15 + 6 * k, 85 - k) for k in range(1, 5)]
    results = analysed(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, 79, 70]},
        more_readings=ticks(*marks),
    )
    (table,) = tables.within_phase(results, 1)
    cell = plain(table.rows[0][1])
    assert cell.startswith("0.50 (0.4")
    assert cell.endswith("slower later")
    text = wording.evenness(results, 1)
    assert "Not even: a in “p1” (slower in the second half)" in text


def test_an_even_phase_is_called_so_and_a_bare_one_left_out() -> None:
    even = analysed(
        phases={"p1": 60},
        readings={"a": [90, 80]},
        more_readings=ticks(*[(6 * k, 90 - k) for k in range(1, 10)]),
    )
    assert plain(tables.within_phase(even, 1)[0].rows[0][1]).endswith(", even")
    assert "each drained evenly" in wording.evenness(even, 1)
    bare = analysed(phases={"p1": 60}, readings={"a": [90, 80]})
    assert tables.within_phase(bare, 1) == ()
    assert wording.evenness(bare, 1) == ""
    assert any(text.startswith("evenness") for text in wording.not_computed(bare))


MAP = [
    Phase(id=p, label=p, activity=a, planned_min=60)
    for p, a in (("p1", "map"), ("p2", "other"), ("p3", "map"))
]


def test_a_repeated_phase_says_what_the_gauge_may_count() -> None:
    """97 to 87, later 34 to 22: ratio 12/10 = 1.20; charge: 1.033/0.932 = 1.108, so 1.11."""
    results = analysed(phases=MAP, readings={"a": [97, 87, 34, 22]}, conditions=COMPLETE_CONDITIONS)
    table = tables.reference_repeats(results)
    assert table is not None
    device, first, last, ratio, charge, verdict = (plain(c) for c in table.rows[0])
    assert (device, first, last) == ("a", "1 p1 (at 92 %)", "3 p3 (at 28 %)")
    assert ratio.startswith("1.20 (1.0")
    assert (charge, verdict) == ("1.11", "counts charge")
    head, tail = wording.repeated_phases(results)
    assert head.startswith("Done early and again late: “map”.")
    assert "agrees with counting charge for a: the display fell 1.20" in tail
    assert tail.endswith("keep the half-way assumption about the gauge.")


def repeats(**verdicts: tuple[str, str, float]) -> str:
    """Return the sentence on a repeated phase: device → stated, verdict, half-width of share."""
    session = make_session(
        devices=[
            Device(id=d, label=d, gauge=Gauge(counts=stated))  # type: ignore[arg-type]  # by name
            for d, (stated, _, _) in verdicts.items()
        ],
        phases={"p1": 60},
    )
    frame = rows(
        "reference_repeats",
        [
            {"device": d, "activity": "map", "verdict": verdict, "charge_share": 0.5,
             "charge_share_low": 0.5 - half, "charge_share_high": 0.5 + half}
            for d, (_, verdict, half) in verdicts.items()
        ],
    )  # fmt: skip
    return wording.repeated_phases(
        replace(fake_results(session), extra={"reference_repeats": frame})
    )[1]


def test_a_repeated_phase_that_contradicts_the_setup_file_says_so() -> None:
    text = repeats(limpet=("charge", "energy", 0.8), whelk=("unknown", "energy", 0.8))
    assert (
        "That contradicts the setup file, which has the gauge of limpet count charge: one of the "
        "two is wrong, or the work was not the same. So hours, energy and power keep the half-way "
        "assumption about the gauge." in text
    )
    assert "contradicts" not in repeats(limpet=("charge", "cannot_tell", 0.8))
    assert "the gauge of limpet count energy" in repeats(limpet=("energy", "neither", 0.3))


def test_a_device_whose_runs_disagree_is_named_with_its_runs() -> None:
    one = make_session(phases={"p1": 60}, readings={"k": [90, 80], "w": [90, 80]})
    verdicts = [("k", 1, "cannot_tell"), ("k", 2, "energy"), ("k", 3, "energy"),
                ("w", 1, "energy"), ("w", 2, "energy")]  # fmt: skip
    frame = rows(
        "reference_repeats",
        [
            {"device": d, "run": run, "activity": "map", "verdict": v, "charge_share": 0.5,
             "charge_share_low": 0.0, "charge_share_high": 1.0}
            for d, run, v in verdicts
        ],
    )  # fmt: skip
    session = join_runs(one, one, one)
    (_, text) = wording.repeated_phases(
        replace(fake_results(session), extra={"reference_repeats": frame})
    )
    assert text.startswith(
        "What was read is too uncertain to tell for k in run 1; agrees with counting energy for k "
        "in runs 2 and 3 and w."
    )


def test_a_device_whose_activities_disagree_is_named_with_them() -> None:
    """One run, so no run is named; w's two agree."""
    session = make_session(phases={"p1": 60}, readings={"k": [90, 80], "w": [90, 80]})
    verdicts = [("k", "map", "cannot_tell"), ("k", "film", "energy"), ("w", "map", "energy"),
                ("w", "film", "energy")]  # fmt: skip
    frame = rows(
        "reference_repeats",
        [
            {"device": d, "run": 1, "activity": what, "verdict": v, "charge_share": 0.5,
             "charge_share_low": 0.0, "charge_share_high": 1.0}
            for d, what, v in verdicts
        ],
    )  # fmt: skip
    (_, text) = wording.repeated_phases(
        replace(fake_results(session), extra={"reference_repeats": frame})
    )
    assert text.startswith(
        "What was read is too uncertain to tell for k with “map”; agrees with counting energy for "
        "k with “film” and w."
    )


def test_the_shape_of_a_gauge_says_of_how_many_phases_it_is() -> None:
    session = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [90, 80, 70, 60], "b": [90, 80, 70, 60]},
    )

    def said(**phases: int) -> tuple[str, ...]:
        row = {"run": 1, "changes": 40, "level_high_pct": 90.0, "level_low_pct": 50.0,
               "share": 0.1, "share_low": -0.2, "share_high": 0.4, "verdict": "energy"}  # fmt: skip
        found = [{**row, "device": d, "phases": n} for d, n in phases.items()]
        extra = {"gauge_shape": rows("gauge_shape", found)}
        return tuple(map(plain, wording.gauge_shapes(replace(fake_results(session), extra=extra))))

    text, told = said(a=2)
    assert text.endswith("Here that is 2 of 3 phases.")
    assert "(40 changes, 90 to 50 %), so the gauge counts energy" in told
    assert "Here that is" not in said(a=3)[0]
    assert said(a=2, b=2)[0].endswith("Here that is 2 of 3 phases of each.")
    text, told = said(a=2, b=3)
    assert "Here that is" not in text
    assert "(40 changes in 2 of 3 phases, 90 to 50 %)" in told
    assert "(40 changes in 3 of 3 phases, 90 to 50 %)" in told


def test_a_gauge_stated_to_count_energy_keeps_no_assumption() -> None:
    text = repeats(
        kelpfin=("energy", "energy", 0.8), limpet=("unknown", "charge", 0.3),
        whelk=("unknown", "energy", 0.8),
    )  # fmt: skip
    assert text.endswith(
        "It replaces the half-way assumption in hours, energy and power for limpet. Hours, energy "
        "and power keep the half-way assumption about the gauge of whelk. None is made for "
        "kelpfin, stated to count energy."
    )


def test_no_repeated_phase_is_one_line_among_what_was_not_computed() -> None:
    results = analysed(phases=MAP[:2], readings={"a": [97, 87, 34]})
    assert tables.reference_repeats(results) is None
    assert wording.repeated_phases(results) == ()
    (prose,) = (i for i in report.limits(results)[1:])
    assert "the shape of the gauge from a repeated phase" in prose.text


def powered(**changes: object) -> Results:
    """Return 10 pp in an hour of 30 Wh at full health: 3 W, on 10 inches at 4 to 3."""
    device = Device(
        id="a", label="a", display_diagonal_in=10.0, display_px=(2048, 1536), rated_energy_wh=30.0,
        rated_energy_tol_pct=0.0, health_pct=100.0, health_u_pct=0.0,
        gauge=Gauge(counts="energy"),
    )  # fmt: skip
    given = {
        "devices": [replace(device, **changes)],
        "phases": {"p1": 60, "p2": 60},
        "readings": {"a": [95, 90, 80]},
    }
    return analysed(conditions={"luminance_cd_m2": 200}, **given)


def test_power_per_area_and_luminance_by_hand() -> None:
    """(8 × 2.54)(6 × 2.54) = 309.68 cm²: 3 W is 9.69 mW/cm²; at 200 cd/m² = 0.02 cd/cm², 484."""
    area, light = tables.specific_power(powered(), 1)
    assert area.columns[1].unit == "mW/cm²"
    assert plain(area.rows[1][1]).startswith("9.7 (")
    assert light.columns[1].unit == "mW/cd"
    assert plain(light.rows[1][1]).startswith("484 (")
    frame = powered().extra["specific_power"]
    for end in ("", "_u", "_low", "_high"):
        by_area, by_light = (frame[f"power_mw_per_{unit}{end}"] for unit in ("cm2", "cd"))
        assert by_light.to_numpy() == pytest.approx(by_area.to_numpy() / 0.02)


def test_power_without_a_display_is_not_computed() -> None:
    results = powered(display_px=None)
    assert tables.specific_power(results, 1) == ()
    assert any(text.startswith("power per display area") for text in wording.not_computed(results))


def indexed(inch: float, *, censored: bool = False) -> Results:
    device = Device(id="a", label="a", display_diagonal_in=inch, nominal_voltage_v=3.85,
                    rated_capacity_mah=5000.0)  # fmt: skip
    session = make_session(phases={"p": 60}, readings={"a": [100, 90]}, devices=[device])
    runtimes = rows(
        "runtimes",
        [{"run": 1, "device": "a", "status": "observed", "runtime_h": 38.7,
          "runtime_h_u": 0.03, "runtime_h_low": 38.65, "runtime_h_high": 38.75,
          "right_censored": censored}],
    )  # fmt: skip
    from kit.drain.endurance_index import endurance_index

    return replace(
        fake_results(session), extra={"endurance_index": endurance_index(session, runtimes)}
    )


def test_the_index_is_the_formula_and_says_that_it_is_no_label() -> None:
    """38.70/(3.85 × 5000) × 1000 = 2.0104; C ends at 1.95, B begins above 2.30.

    38.65/19250 × 1000 = 2.0078 and 38.75/19250 × 1000 = 2.0130, outwards.
    """
    table = tables.endurance_index(indexed(6.1))
    assert table is not None
    assert table.caption.endswith("index formula only, not that regulation's test")
    assert [plain(c) for c in table.rows[0]] == [
        "a", "38:42", "3.85", "5000", "2.01 (2.00 to 2.02)", "C",
    ]  # fmt: skip


def test_the_index_of_a_tablet_has_no_letter_and_a_survivor_a_bound() -> None:
    """38.65/19250 × 1000 = 2.0078: as a lower bound 2.00, not the 2.01 of the formula."""
    table = tables.endurance_index(indexed(10.2, censored=True))
    assert table is not None
    assert [plain(c) for c in table.rows[0]] == ["a", "–", "3.85", "5000", "at least 2.00"]
    assert any("No letter is given" in note for note in table.notes)


def test_an_index_of_a_run_that_did_not_start_full_says_that_it_is_too_low() -> None:
    results = indexed(10.2)
    table = tables.endurance_index(results)
    assert table is not None
    assert not any("too low" in note for note in table.notes)
    readings = results.session.readings.replace({"soc_pct": {100.0: 97.0}})
    low = replace(results, session=replace(results.session, readings=readings))
    table = tables.endurance_index(low)
    assert table is not None
    assert "Not started from full, so the index is too low: a." in map(plain, table.notes)


def test_flags_of_replicates_and_methods_have_their_words() -> None:
    for code in ("too_few_runs", "declared", "monte_carlo"):
        assert flag_text(code) != code.replace("_", " ")


def test_a_device_that_was_not_read_says_so_with_its_places() -> None:
    """b was read an hour later, so it was on: 1st or 2nd of two."""
    results = analysed(
        phases={"p1": 60, "p2": 60}, readings={"a": [90, 60, 50], "b": [90, None, 40]}
    )
    (table,) = tables.standing(results, 1)
    assert [plain(c) for c in table.rows[0]] == ["1 p1", "60 (1–2)", "not read (1–2)"]
    assert "may stand anywhere" in table.notes[0]


def test_true_charge_claims_allow_for_what_a_gauge_counts() -> None:
    """Energy per cent less charge per cent over any stretch, against the gauge's half-width.

    The difference is the area under β: trapezoids between the points of docs/measurement.md,
    −8, −6.5, −2.5, 0.5, 3, 6 and 13 % at 100, 90, 70, 50, 30, 10 and 0 %. From 100 down to 90 it
    is 0.725 pp, to 70 0.9 more, to 50 0.2 more; then it turns. The half-width is 2u_g with A = 3,
    λ = 7 pp: √2 (A/√3) √(1 − exp(−d²/(2λ²))), from full or to empty (A/√3)√(1 − exp(−d²/λ²)).
    """
    import numpy as np

    assert tuple(round(100 * b, 1) for b in CHARGE_EXCESS) in (
        (13.0, 6.0, 3.0, 0.5, -2.5, -6.5, -8.0), (-8.0, -6.5, -2.5, 0.5, 3.0, 6.0, 13.0),
    )  # fmt: skip
    points = [(0, 13.0), (10, 6.0), (30, 3.0), (50, 0.5), (70, -2.5), (90, -6.5), (100, -8.0)]
    assert sorted(CHARGE_EXCESS_LEVEL_PCT) == [level for level, _ in points]
    level = np.arange(101.0)
    beta = np.interp(level, [p for p, _ in points], [b / 100 for _, b in points])
    area = np.concatenate([[0.0], np.cumsum((beta[1:] + beta[:-1]) / 2)])
    assert area[90] - area[100] == pytest.approx(0.725)
    given = Assumptions()
    worst = 0.0
    for high in range(1, 101):
        for low in range(high):
            d2 = (high - low) ** 2 / given.gauge_correlation_pp**2
            pinned = high == 100 or low == 0
            factor = 1 - np.exp(-d2) if pinned else 2 * (1 - np.exp(-d2 / 2))
            half = 2 * given.gauge_error_pp / np.sqrt(3) * np.sqrt(factor)
            worst = max(worst, abs(area[high] - area[low]) / half)
    assert 0.5 < worst < 0.7

"""Sentences of the report: true of the results they are made from, and silent beyond them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from kit.analyse import analyse
from kit.errors import Finding
from kit.results import Settings
from kit.session import Assumptions, Device, Gauge
from kit.show import wording
from kit.show.pair_order import order_of_run
from kit.show.wording.draining import fastest_phase, least_drained, standing_now
from kit.show.wording.facts import facts_of
from kit.show.wording.lasting import longest, ties, unfinished
from kit.units import NO_BREAK
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import NAN, fake_results, field_day, rows


def plain(text: str) -> str:
    """Return the text with ordinary spaces."""
    return text.replace(NO_BREAK, " ")


def off(last_on: float, first_off: float) -> dict[str, Any]:
    """Return a power-off between two looks."""
    return {"noted_min": first_off, "last_on_min": last_on, "first_off_min": first_off}


def of_offs(offs: dict[str, tuple[float, float]], still: dict[str, float] | None = None) -> Any:
    """Return results in which nothing but the power-offs matters."""
    devices = (*offs, *(still or {}))
    session = make_session(
        devices=devices,
        phases={"p1": 60},
        readings={d: [100, 90] for d in devices},
        power_offs={d: off(*times) for d, times in offs.items()},
        still_on=still or {},
        stop_min=600.0,
    )
    return fake_results(session)


def test_the_longest_lasting_is_named_with_its_lead() -> None:
    # a off in [480, 483], b in [465, 468], c in [400, 401]: lead at least 480 − 468 = 12 min
    facts = facts_of(of_offs({"a": (480, 483), "b": (465, 468), "c": (400, 401)}), 1)
    assert plain(longest(facts)) == (
        "a lasted longest: 8 h to 8 h 03 min, at least 12 min longer than any other device."
    )
    assert plain(ties(facts)) == ("The order from longest to shortest runtime stands: a, b and c.")


def test_of_two_devices_the_other_is_named() -> None:
    facts = facts_of(of_offs({"a": (480, 483), "b": (465, 468)}), 1)
    assert plain(longest(facts)).endswith("at least 12 min longer than b.")
    assert ties(facts) == ""


def test_a_survivor_has_a_lower_bound_and_no_invented_number() -> None:
    facts = facts_of(of_offs({"b": (465, 468), "c": (400, 401)}, {"a": 600.0}), 1)
    assert plain(longest(facts)) == (
        "a lasted longest: it was still on when the session was stopped, after at least 10 h, "
        "and had outlasted every other device by at least 2 h 12 min. How much longer it would "
        "have run was not seen."
    )


def test_a_tie_at_the_top_names_nobody() -> None:
    facts = facts_of(of_offs({"a": (480, 483), "b": (481, 484), "c": (400, 401)}), 1)
    assert plain(longest(facts)) == (
        "b and a share the longest runtime: their power-offs are too close together to call. "
        "Both outlasted c."
    )
    assert ties(facts) == ""


def test_a_tie_below_the_top_is_said() -> None:
    facts = facts_of(
        of_offs({"a": (480, 483), "b": (465, 468), "c": (466, 469), "d": (400, 401)}), 1
    )
    assert plain(ties(facts)) == "Too close to call by their power-offs: c and b."


def test_two_survivors_are_not_put_in_order() -> None:
    facts = facts_of(of_offs({"c": (400, 401)}, {"a": 600.0, "b": 600.0}), 1)
    assert plain(longest(facts)) == (
        "a and b were still on when last seen, after at least 10 h; which of them would have "
        "lasted longest was not seen. Both outlasted c."
    )


def test_of_those_still_on_the_one_with_most_left_is_told() -> None:
    session = make_session(
        devices=("a", "b", "c"), phases={"p1": 600},
        readings={"a": [100, 10], "b": [100, 23], "c": [100]},
        power_offs={"c": off(400, 401)}, still_on={"a": 600.0, "b": 600.0}, start=None,
    )  # fmt: skip
    said = [plain(text) for text in wording.glance(analyse(session, (), Settings(draws=0)))]
    assert "b showed the most charge after “p1”: 23 %." in said


def test_nothing_is_named_when_singly_won_pairs_do_not_add_up() -> None:
    results = of_offs({"a": (480, 483), "b": (465, 468)})
    runtimes = results.runtimes.assign(p_longest=[0.93, 0.07])
    facts = facts_of(fake_results(results.session, runtimes=runtimes), 1)
    assert "no longest-lasting device is named" in longest(facts)


def test_no_device_off_yet() -> None:
    facts = facts_of(of_offs({}, {"a": 250.0, "b": 251.0, "c": 250.0}), 1)
    assert plain(longest(facts)) == (
        "All three devices were still on when the session was stopped, after at least 4 h 10 min; "
        "no runtime has been measured to its end."
    )


def test_no_power_off_recorded() -> None:
    session = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 80]})
    facts = facts_of(fake_results(session), 1)
    assert longest(facts) == "No power-off was recorded, so nothing is said about runtimes."
    assert unfinished(facts) == (
        "The record does not say when a and b powered off, nor that the session was stopped; if "
        "it goes on, this report is an interim one."
    )


def test_a_single_device_is_compared_with_nothing() -> None:
    sentences = [plain(s) for s in wording.glance(of_offs({"a": (480, 483)}))]
    assert sentences[0] == (
        "a ran for 8 h to 8 h 03 min until it powered off; there was no other device to compare "
        "it with."
    )
    assert sentences[-1] == "One unit ran once; another unit of its kind may do differently."
    assert not any("order" in s or "frugal" in s for s in sentences)


def test_a_single_survivor() -> None:
    assert plain(longest(facts_of(of_offs({}, {"a": 600.0}), 1))) == (
        "a was still on when the session was stopped, after at least 10 h; its full runtime was "
        "not seen, and there was no other device to compare it with."
    )


def rated(**rates: float) -> Any:
    """Return results in which each device has 10 pp/h browsing and the given rate streaming."""
    frame = rows(
        "phase_drain",
        [
            {"phase": phase, "device": device, "measurand": "displayed", "status": "measured",
             "rate_pp_per_h": r, "rate_pp_per_h_low": r - 0.8, "rate_pp_per_h_high": r + 0.8,
             "start_pct": start, "end_pct": start - r}
            for device, rate in rates.items()
            for phase, r, start in (("browse", 10.0, 55.0), ("stream", rate, 45.0))
        ],
    )  # fmt: skip
    return fake_results(phase_drain=frame)


def test_where_displays_fell_fastest_is_named_where_intervals_lie_apart() -> None:
    """12.0 − 0.8 = 11.2 > 10.0 + 0.8 = 10.8, 11.6 − 0.8 is not.

    Levels 55 to 45 and 45 to 33 %: the middles are 50 and 39 %, where a gauge that counts charge
    falls 0.5 % and 0.5 + 2.5 · 11/20 = 1.9 % faster than on average: 11.2/1.0188 = 10.99 is above
    10.8/1.005 = 10.75, so that does not explain it.
    """
    assert fastest_phase(rated(limpet=12.0, whelk=14.0), 1) == (
        "The displays fell fastest in “Streaming video”, at 12 to 14 percentage points an hour, "
        "even allowing for how displays behave near empty."
    )
    assert fastest_phase(rated(limpet=11.6, whelk=11.6), 1) == ""
    assert fastest_phase(rated(limpet=12.0), 1).startswith(
        "The display of limpet fell fastest in “Streaming video”, at about 12 percentage points"
    )


def constant_power(counts: Any = "unknown", shapes: tuple[float, ...] = (1.0, 1.0)) -> Any:
    """Return results of two devices at one power in two phases, first 95 → 85, then 20 → 8 %.

    Displays that count charge: at 90 % and at 14 % they fall 6.5 % slower and 5.4 % faster than on
    average, 9.35 and 10.54 pp/h where the energy would fall by 10; known to ± 0.3 pp/h.
    """
    session = make_session(
        devices=[
            Device(id=d, label=d, gauge=Gauge(counts=counts)) for d in ("a", "b")[: len(shapes)]
        ],
        phases={"p1": 60, "p2": 60},
    )
    frame = rows(
        "phase_drain",
        [
            {"phase": phase, "device": device.id, "measurand": "displayed", "status": "measured",
             "rate_pp_per_h": r, "rate_pp_per_h_low": r - 0.3, "rate_pp_per_h_high": r + 0.3,
             "start_pct": start, "end_pct": start - width}
            for device, work in zip(session.devices, shapes, strict=True)
            for phase, r, start, width in (
                ("p1", 9.35, 95.0, 10.0), ("p2", 10.54 * work, 20.0, 12.0),
            )
        ],
    )  # fmt: skip
    return fake_results(session, phase_drain=frame)


def test_a_phase_is_not_called_harder_for_what_the_gauge_does_by_itself() -> None:
    """10.24 > 9.65 by the display, but 10.24/1.054 = 9.72 < 9.65/0.935 = 10.32."""
    assert fastest_phase(constant_power(), 1) == (
        "The displays fell fastest in “p2”, at about 11 percentage points an hour. That need not "
        "be the work: some displays fall faster towards empty by themselves."
    )
    # half as much again: 15.51/1.054 = 14.7, more than that
    harder = fastest_phase(constant_power(shapes=(1.5, 1.5)), 1)
    assert harder.endswith("even allowing for how displays behave near empty.")
    # only one of them was given more to do
    mixed = fastest_phase(constant_power(shapes=(1.5, 1.0)), 1)
    assert "an hour. For b that need not be the work: some displays fall" in mixed


def test_a_gauge_stated_to_count_energy_has_no_such_shape() -> None:
    assert fastest_phase(constant_power("energy"), 1).endswith("displays behave near empty.")
    assert "need not be the work" in fastest_phase(constant_power("charge"), 1)


def test_no_sentence_calls_a_phase_the_hardest() -> None:
    for results in (rated(limpet=12.0, whelk=14.0), constant_power(), constant_power("energy")):
        assert "hard" not in fastest_phase(results, 1)


def test_the_fastest_phase_names_the_devices_for_which_it_is_open() -> None:
    assert fastest_phase(rated(limpet=12.0, whelk=12.0, dunlin=11.6), 1) == (
        "The displays fell fastest in “Streaming video”, at about 12 percentage points an hour "
        "(dunlin too close to call), even allowing for how displays behave near empty."
    )
    # one of two is not most of them
    assert fastest_phase(rated(limpet=12.0, dunlin=11.6), 1) == ""


def test_a_phase_cut_short_can_keep_another_from_being_the_fastest() -> None:
    results = rated(limpet=12.0)
    cut = results.phase_drain.assign(phase="empty", status="died")
    cut = cut[cut["rate_pp_per_h"] == 12.0]
    frame = pd.concat([results.phase_drain, cut], ignore_index=True)
    assert fastest_phase(results, 1) != ""
    assert fastest_phase(fake_results(phase_drain=frame), 1) == ""


def test_the_least_drained_device_must_beat_all_others() -> None:
    def results(verdict: str) -> Any:
        session = make_session(devices=("a", "b", "c"), phases={"p1": 60}, readings={})
        frame = rows(
            "drain_pairs",
            [
                {"phase": "p1", "device_a": a, "device_b": b, "measurand": "true_charge",
                 "verdict_table": v}
                for a, b, v in (("a", "b", "a"), ("a", "c", verdict), ("b", "c", "tie"))
            ],
        )  # fmt: skip
        return fake_results(session, drain_pairs=frame)

    assert least_drained(results("a"), 1) == (
        "Clearly used the smallest share of its charge, even allowing for errors of the "
        "percentages shown: a in “p1”."
    )
    assert least_drained(results("tie"), 1) == (
        "No device was clearly the most frugal in any phase."
    )
    nothing = fake_results(results("a").session, drain_pairs=rows("drain_pairs"))
    assert least_drained(nothing, 1) == ""


def test_the_standing_of_an_unfinished_session() -> None:
    results = fake_results()
    # after the third phase kelpfin shows 55 %, the next 41 %
    frame = results.standing.copy()
    third = frame["phase"] == "draw"
    frame.loc[third, "rank_best"] = [3, 2, 1, 4, NAN]
    assert plain(standing_now(fake_results(standing=frame), 1)) == (
        "kelpfin showed the most charge after “Drawing maps”: 55 %."
    )
    frame.loc[third, "rank_best"] = [1, 2, 1, 4, NAN]
    assert standing_now(fake_results(standing=frame), 1) == (
        "limpet and kelpfin were too close to call for the most charge after “Drawing maps”."
    )


def test_a_glance_has_three_to_five_sentences() -> None:
    for results in (
        fake_results(),
        of_offs({"a": (480, 483), "b": (465, 468), "c": (400, 401)}),
        fake_results(join_runs(field_day(), field_day())),
    ):
        sentences = wording.glance(results)
        assert 3 <= len(sentences) <= 5
        assert all(s[0].isupper() or s.startswith(("a ", "kelpfin", "“")) for s in sentences)
        assert all(s.endswith(".") for s in sentences)
        assert not any("!" in s or "  " in s or "nan" in s for s in sentences)


def test_the_glance_counts_the_cautions() -> None:
    def finding(severity: Any) -> Finding:
        return Finding(
            rule="r", severity=severity, file="log.csv", found="f", expected="e", remedy="R."
        )

    assert "The checks raised no caution about the record." in wording.glance(fake_results())
    some = (finding("caution"), finding("caution"), finding("note"))
    assert wording.glance(fake_results(findings=some))[-2] == (
        "The checks raised two cautions about the record, listed under Data quality."
    )


def test_several_runs_are_summed_up_over_the_runs() -> None:
    session = join_runs(field_day(), field_day(), field_day())
    frame = rows(
        "replicates",
        [
            {"device": d, "quantity": "runtime", "runs": 3, "mean": m, "mean_low": m - 0.1,
             "mean_high": m + 0.1, "unit_symbol": "h"}
            for d, m in (("limpet", 7.5), ("dunlin", 6.0))
        ],
    )  # fmt: skip
    sentences = [plain(s) for s in wording.glance(fake_results(session, replicates=frame))]
    # 7.5 ± 0.1 h: 7 h 24 min to 7 h 36 min
    assert sentences[0] == (
        "Mean runtime over three runs, longest first: limpet 7 h 30 min (7 h 24 min to 7 h 36 "
        "min); dunlin 6 h (5 h 54 min to 6 h 06 min)."
    )
    assert sentences[1] == "Lasted longest in every run: kelpfin."
    assert sentences[-1].startswith("One unit of each device ran three times")


def over_runs(**means: float) -> Any:
    """Return results of two runs in which the devices had these means (h), each ± 0.1 h."""
    one = make_session(phases={"p1": 60}, readings={d: [100, 90] for d in means})
    frame = rows(
        "replicates",
        [
            {"device": d, "quantity": "runtime", "runs": 2, "mean": m, "mean_low": m - 0.1,
             "mean_high": m + 0.1, "unit_symbol": "h"}
            for d, m in means.items()
        ],
    )  # fmt: skip
    return fake_results(join_runs(one, one), replicates=frame)


def test_no_device_is_dropped_from_the_means() -> None:
    seven = plain(wording.glance(over_runs(**{f"d{k}": 9.0 - k for k in range(7)}))[0])
    assert "longest first: d0 9 h (8 h 54 min to 9 h 06 min); d1 8 h (" in seven
    assert seven.endswith("d5 4 h (3 h 54 min to 4 h 06 min); d6 3 h (2 h 54 min to 3 h 06 min).")
    many = plain(wording.glance(over_runs(**{f"d{k}": 20.0 - k for k in range(14)}))[0])
    assert many.endswith("d7 13 h (12 h 54 min to 13 h 06 min); and six shorter ones under "
                         "Replicates.")  # fmt: skip


def test_a_mean_over_fewer_runs_than_there_were_says_so() -> None:
    results = over_runs(a=9.0, b=8.0)
    frame = results.replicates.assign(runs=[2, 1])
    said = plain(wording.glance(fake_results(results.session, replicates=frame))[0])
    assert said == (
        "Mean runtime over two runs, longest first: a 9 h (8 h 54 min to 9 h 06 min); b 8 h (7 h "
        "54 min to 8 h 06 min; one run)."
    )


def test_the_lead_over_several_runs_is_who_ran_longest_on_average() -> None:
    claim = {"run": 0, "priority": 1, "kind": "this_session", "code": "longest_on_average",
             "group": "", "wording": "On average over two runs, a ran longest."}  # fmt: skip
    in_group = {**claim, "group": "small", "wording": "Another."}
    pairs = [{**claim, "code": "longer_on_average", "wording": f"{k}"} for k in range(3)]
    results = over_runs(a=5.0, b=4.0, c=3.0)
    frame = rows("claims", [in_group, claim, *pairs])
    said = wording.glance(replace(results, extra={"claims": frame}))
    assert said[0] == "On average over two runs, a ran longest."
    assert said[1].startswith("Mean runtime over two runs")
    # of two devices the sentence on the pair
    two = rows("claims", pairs[:1])
    assert wording.glance(replace(over_runs(a=5.0, b=4.0), extra={"claims": two}))[0] == "0"


def test_what_displays_alone_make_wrong_is_one_step_each() -> None:
    """Steps as stated, else as shown: 1 for a, 5 for b (83 and 71 are read of a)."""
    session = make_session(
        devices=[
            Device(id="a", label="Limpet 10"),
            Device(id="b", label="Dunlin 9", gauge=Gauge(step_pct=5.0)),
            Device(id="c", label="Whelk 8"),
        ],
        phases={"p1": 60},
        readings={"a": [83, 71], "b": [85, 70], "c": [83, 71]},
    )
    text = " ".join(wording.limits(fake_results(session))).replace(NO_BREAK, " ")
    assert (
        "a drain between two readings is wrong by less than one step, 1 pp (5 pp for Dunlin 9), a "
        "difference of two drains by less than the steps of both." in text
    )
    coarse = replace(session, devices=(session.devices[1],))
    text = " ".join(wording.limits(fake_results(coarse))).replace(NO_BREAK, " ")
    assert "wrong by less than 5 pp, a difference of two drains by less than 10 pp." in text
    plain_one = replace(session, devices=(session.devices[0],))
    text = " ".join(wording.limits(fake_results(plain_one))).replace(NO_BREAK, " ")
    assert "wrong by less than 1 pp, a difference of two drains by less than 2 pp." in text


def test_a_mean_runtime_is_rounded_outwards() -> None:
    one = make_session(phases={"p1": 60}, readings={"a": [100, 90]})
    session = join_runs(one, one)
    frame = rows(
        "replicates",
        [{"device": "a", "quantity": "runtime", "runs": 2, "mean": 5.7667, "mean_low": 5.4136,
          "mean_high": 6.1197, "unit_symbol": "h"}],
    )  # fmt: skip
    # 5.4136 h = 324.82 min, 6.1197 h = 367.18 min: 5 h 24 to 6 h 08, not 5 h 25 to 6 h 07
    said = plain(wording.glance(fake_results(session, replicates=frame))[0])
    assert said.endswith("a 5 h 46 min (5 h 24 min to 6 h 08 min).")


@pytest.mark.parametrize(
    ("low", "said"),
    [
        # 8.9 h is more than the 5.77 h of the others: first, though its mean is not known
        (8.9, "longest first: b at least 8 h 54 min; a 5 h 46 min (5 h 24 min to 6 h 08 min)."),
        (4.0, "6 h 08 min). Not seen to its end in every run: b at least 4 h."),
    ],
)
def test_a_device_still_on_in_one_run_is_not_left_out_of_the_means(low: float, said: str) -> None:
    one = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 90]})
    frame = rows(
        "replicates",
        [{"device": "a", "quantity": "runtime", "runs": 2, "mean": 5.7667, "mean_low": 5.4136,
          "mean_high": 6.1197, "unit_symbol": "h"},
         {"device": "b", "quantity": "runtime", "runs": 2, "mean_low": low, "unit_symbol": "h"}],
    )  # fmt: skip
    results = fake_results(join_runs(one, one), replicates=frame)
    assert plain(wording.glance(results)[0]).endswith(said)


def test_a_supported_sentence_on_kinds_is_not_taken_back() -> None:
    session = make_session(devices=["a", "b"], phases={"p1": 60}, readings={})
    claim = {"run": 0, "priority": 1, "kind": "kind_of_device", "verdict": "supported"}
    told = fake_results(session, extra={"claims": rows("claims", [claim])})
    silent = fake_results(session, extra={"claims": rows("claims", [{**claim, "verdict": "tied"}])})
    assert "not what another unit would do" in plain(wording.units_and_runs(silent))
    said = plain(wording.units_and_runs(told))
    assert "how another unit" not in said
    # the default of run_unit_cv
    assert "takes them to differ by about 3 %" in said


def test_units_of_one_model_are_told_from_single_units() -> None:
    devices = [Device(id=k, label=k, model=m) for k, m in (("a", "M"), ("b", "M"), ("c", "N"))]
    results = fake_results(make_session(devices=devices, phases={"p1": 60}, readings={}))
    assert "several units" in wording.units_and_runs(results)


@pytest.mark.parametrize(
    ("conditions", "said"),
    [
        ({"brightness_pct": 60}, True),
        ({"brightness_pct": 60, "luminance_cd_m2": 180}, False),
        ({"luminance_cd_m2": 180}, False),
        ({"brightness_pct": "not recorded"}, False),
    ],
)
def test_equal_percent_of_brightness_is_a_limit(conditions: dict[str, Any], said: bool) -> None:
    results = fake_results(field_day(conditions=conditions))
    assert any("equal brightness" in s for s in wording.limits(results)) is said


def test_limits_carry_the_numbers_of_the_session() -> None:
    used = Assumptions(gauge_error_pp=2.5, stated=frozenset({"gauge_error_pp"}))
    session = field_day(
        assumptions=used, gaps={"stream": 12.0}, declared_comparison=("limpet", "whelk")
    )
    limits = [plain(s) for s in wording.limits(fake_results(session))]
    gauge = next(s for s in limits if s.startswith("Statements between devices"))
    assert "2.5 pp" in gauge
    assert "stated in the setup file" in gauge
    assert any("Between the phases lie 12 min" in s for s in limits)
    assert any("only limpet and whelk, declared before the session" in s for s in limits)


def test_unaccounted_time_is_what_lies_between_the_phases() -> None:
    session = field_day(gaps={"stream": 12.0, "draw": 3.5})
    assert wording.unaccounted_min(fake_results(session), 1) == pytest.approx(15.5)


def test_a_known_rounding_is_no_limit() -> None:
    devices = [Device(id="a", label="a", gauge=Gauge(rounding="truncated"))]
    results = fake_results(make_session(devices=devices, phases={"p1": 60}, readings={}))
    assert not any("rounded was not recorded" in s for s in wording.limits(results))


def test_conditions_that_were_not_recorded_are_listed() -> None:
    limits = wording.limits(fake_results(field_day(conditions={"network": "Wi-Fi"})))
    listed = next(s for s in limits if s.startswith("Not recorded"))
    assert "volume" in listed
    assert "network" not in listed
    bare = wording.limits(fake_results(field_day(conditions={})))
    assert any(s.startswith("No condition of the session was recorded") for s in bare)


def test_methods_state_the_values_used() -> None:
    used = Assumptions(reading_delay_min=0.0, clock_rounding="unknown")
    paragraphs = [plain(s) for s in wording.methods(fake_results(field_day(assumptions=used)))]
    assert any("Readings were made in a pause" in s for s in paragraphs)
    assert any("in an unknown way" in s for s in paragraphs)
    assert any("by Monte Carlo (seed 20260516): " in s for s in paragraphs)
    assert any("100 000 times" in s for s in paragraphs)
    assert any("All 14 intervals agree" in s for s in paragraphs)


def test_disagreement_of_the_two_methods_is_said() -> None:
    frame = fake_results().agreement
    frame.loc[0, "agrees"] = False
    paragraphs = wording.methods(fake_results(agreement=frame))
    assert any("13 of 14 intervals agree" in s for s in paragraphs)


def test_alternative_texts_say_what_the_figures_show() -> None:
    results = fake_results()
    assert plain(wording.alt_runtimes(results, 1)).startswith(
        "Runtimes, longest first: kelpfin at least 8:30 h, periwinkle 7:29 to 7:31 h"
    )
    assert "kelpfin 1st" in wording.alt_pairs(results, order_of_run(results, 1))
    assert "Too close to call: one pair" in wording.alt_pairs(results, order_of_run(results, 1))
    assert "Browsing the tide tables, kelpfin 8.0 to whelk 15.0" in wording.alt_rates(
        results, 1, ["browse"]
    )
    # whole per cent, rounding not recorded: one either way
    assert "whelk, last read 40 % (39 to 41), powered off after 4:07 to 4:10 h" in plain(
        wording.alt_charge(results, 1)
    )

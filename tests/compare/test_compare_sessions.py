"""Whole comparisons by hand: links, censored champions, unlike conditions, identity."""

import math
from dataclasses import replace

import pytest

from kit.compare.like_tables import conditions
from kit.compare.settings import CompareSettings, same_pairs
from kit.errors import UsageError
from kit.session import Device, Phase
from tests.helpers.builders import join_runs
from tests.helpers.compare_days import compared, day, device, pair

Z = 1.959963985
"""Two-sided normal factor for 95 %."""


def middle(minute):
    """Return ln of the geometric middle of a runtime in hours.

    Off in [m, m + 1), started in [0, 1): it ran between m − 1 and m + 1 minutes.
    """
    return (math.log((minute - 1) / 60) + math.log((minute + 1) / 60)) / 2


def half(minute):
    return math.log((minute + 1) / (minute - 1)) / 2


def test_a_challenger_against_a_champion_it_never_met():
    found = compared(day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 520}))
    link, sign = pair(found, "a", "b")
    assert link.ties.tie == "linked"
    assert link.through == ("c",)
    # ln a/b = (ln 600 − ln 500) − (ln 400 − ln 520), to the middles of the windows
    expected = (middle(600) - middle(500)) - (middle(400) - middle(520))
    assert link.alone.difference * sign == pytest.approx(expected)
    # four runtimes with 3 % each, and four windows of a minute each way
    u_scatter = 2 * 0.03
    windows = math.sqrt(sum(half(m) ** 2 for m in (600, 500, 400, 520)) / 3)
    wide = math.hypot(Z * windows, Z * u_scatter)
    low = link.alone.low if sign > 0 else -link.alone.high
    assert low == pytest.approx(expected - wide, abs=1e-8)
    # exp(0.444) = 1.559: 56 % longer, and 0.444 > 0.118 · (factor for three pairs): supported
    assert link.longer * sign == 1
    assert link.verdict == "supported"


def test_all_pairs_are_judged_together():
    found = compared(day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 520}))
    link, _ = pair(found, "a", "b")
    # three pairs: 1 − 0.05/3 two-sided is a normal factor of 2.393980
    ratio = (link.family.high - link.family.difference) / (link.alone.high - link.alone.difference)
    assert ratio == pytest.approx(2.393980 / Z, abs=1e-4)


def test_a_link_costs_what_a_difference_side_by_side_does_not():
    # a and b 12 % apart: side by side on one day that would be 0.113 against 2.394 √2 0.03 = 0.102
    side = compared(day(1, {"a": 560, "b": 500, "c": 500}), day(2, {"c": 500}))
    assert pair(side, "a", "b")[0].verdict == "supported"
    # through c it is 0.113 against 2.394 · 0.06 = 0.144
    linked = compared(day(1, {"a": 560, "c": 500}), day(2, {"b": 500, "c": 500}))
    assert pair(linked, "a", "b")[0].verdict == "tied"


def test_a_champion_that_was_never_seen_off_is_a_lower_bound():
    found = compared(day(1, {"c": 500}, still_on={"champion": 700}), day(2, {"b": 400, "c": 520}))
    link, sign = pair(found, "champion", "b")
    assert math.isnan(link.alone.difference)
    assert link.alone.high * sign == math.inf
    # started in [0, 1) and on at 700: 699 min at least; the other three runtimes are as before
    bound = (math.log(699 / 60) - middle(500)) - (middle(400) - middle(520))
    windows = math.sqrt(sum(half(m) ** 2 for m in (500, 400, 520)) / 3)
    wide = math.hypot(Z * windows, Z * 0.06)
    assert link.alone.low * sign == pytest.approx(bound - wide, abs=1e-8)
    assert link.longer * sign == 1
    place = found.standing.places[0]
    assert found.standing.field.entries[place.entry].name == "champion"
    assert place.at_least
    assert (place.best, place.worst) == (1, 1)


def test_against_a_longer_challenger_a_lower_bound_decides_nothing():
    found = compared(day(1, {"c": 500}, still_on={"champion": 700}), day(2, {"b": 900, "c": 500}))
    link, sign = pair(found, "champion", "b")
    assert link.verdict == "cannot_be_said"
    assert link.alone.high * sign == math.inf
    said = next(c for c in found.claims if c.statement == "champion runs longer than b")
    assert said.verdict == "cannot_be_said"
    assert "not seen to its end" in said.wording
    # nobody invents a number for it
    assert math.isnan(said.lead_pct)


def test_an_unfinished_control_moves_nobody():
    whole = compared(day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 520}))
    with_open = compared(
        day(1, {"a": 600, "c": 500, "d": 450}),
        day(2, {"b": 400, "c": 520}, still_on={"d": 300}),
    )
    one, two = pair(whole, "a", "b")[0], pair(with_open, "a", "b")[0]
    assert two.alone.difference == pytest.approx(one.alone.difference)
    # but a lower bound of d that is above what was seen counts
    late = compared(
        day(1, {"a": 600, "c": 500, "d": 450}),
        day(2, {"b": 400, "c": 520}, still_on={"d": 900}),
    )
    link, sign = pair(late, "d", "b")
    assert link.alone.high * sign == math.inf
    assert link.alone.low * sign > 0.5


def test_sessions_that_nothing_links_are_not_compared():
    days = day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "d": 520})
    found = compared(*days)
    link, _ = pair(found, "a", "b")
    assert (link.ties.tie, link.verdict) == ("apart", "cannot_be_said")
    assert "no device links" in link.ties.why
    assert {p.league for p in found.standing.places} == {0, 1}
    # with 5 % assumed for a session: u² = 2·0.03² + 2·0.05² (no other device in it)
    assumed = compared(*days, session_cv=0.05)
    link, sign = pair(assumed, "a", "b")
    assert link.ties.tie == "assumed"
    assert link.alone.difference * sign == pytest.approx(middle(600) - middle(400))
    assert link.alone.link.u_scatter == pytest.approx(math.sqrt(0.0068))
    assert {p.league for p in assumed.standing.places} == {0}


@pytest.mark.parametrize(
    ("key", "value", "label"),
    [
        ("brightness_pct", 80, "brightness setting"),
        ("network", "mobile, 4G", "network"),
        ("refresh_rate_hz", 120, "refresh rate"),
        ("power_saver", "on", "power saver"),
        ("room_start_c", 27.0, "room temperature at the start"),
    ],
)
def test_a_condition_that_differed_keeps_sessions_apart(key, value, label):
    first = day(1, {"a": 600, "c": 500})
    second = day(2, {"b": 400, "c": 520})
    other = replace(second, conditions={**second.conditions, key: value})
    found = compared(first, other)
    link, _ = pair(found, "a", "b")
    assert link.ties.tie == "apart"
    assert label in link.ties.why
    # the control is another entry under other conditions, and says why
    entry = next(e for e in found.standing.field.entries if e.name == "c (2)")
    assert label in entry.apart
    change = next(c for c in found.changes if c.way == "as_it_ran")
    assert change.verdict == "cannot_be_said"
    assert label in change.why
    # unless it is accepted
    assert pair(compared(first, other, accept=frozenset({key})), "a", "b")[0].ties.tie == "linked"


def test_what_was_not_recorded_is_taken_as_alike_and_said():
    first = day(1, {"a": 600, "c": 500})
    second = day(2, {"b": 400, "c": 520})
    blank = replace(second, conditions={**second.conditions, "network": "not recorded"})
    found = compared(first, blank)
    assert pair(found, "a", "b")[0].ties.tie == "linked"
    (row,) = [c for c in found.beside[0].contrasts if c.key == "network"]
    assert (row.status, row.decides) == ("unknown", True)
    (table,) = conditions(found)
    told = {r[1]: r[2] for r in table.rows}
    assert told["not recorded in both: taken as alike"] == "Network"


def test_what_differs_opens_the_table_of_conditions():
    first = day(1, {"a": 600, "c": 500})
    second = day(2, {"b": 400, "c": 520})
    other = replace(second, conditions={**second.conditions, "brightness_pct": 80, "mat": "felt"})
    (table,) = conditions(compared(first, other))
    effect, what = table.rows[0][1:]
    assert effect == "differs: not comparable"
    assert what.replace("\N{NO-BREAK SPACE}", " ") == "Brightness setting: 60 % and 80 %"
    accepted = compared(first, other, accept=frozenset({"brightness_pct"}))
    assert conditions(accepted)[0].rows[0][1] == "differs: accepted as it is"


def test_small_differences_of_temperature_are_alike():
    first = day(1, {"a": 600, "c": 500})
    second = day(2, {"b": 400, "c": 520})
    near = replace(second, conditions={**second.conditions, "room_start_c": 24.5})
    # 21.5 and 24.5: 3.0 °C apart, the tolerance
    assert pair(compared(first, near), "a", "b")[0].ties.tie == "linked"


def test_other_phases_are_another_runtime():
    first = day(1, {"a": 600, "c": 500})
    film = (Phase(id="p1", label="Map", activity="film", kind="until_empty"),)
    found = compared(first, day(2, {"b": 400, "c": 520}, phases=film))
    assert "phases" in pair(found, "a", "b")[0].ties.why


def test_new_software_makes_a_device_no_control():
    found = compared(
        day(1, {"a": 600, "c": 500}),
        day(2, {"b": 400, "c": 520}, devices=[device("b"), device("c", software="T 2")]),
    )
    assert [e.name for e in found.standing.field.entries] == ["a", "c", "c (2)", "b"]
    assert pair(found, "a", "b")[0].ties.tie == "apart"
    raw = next(c for c in found.changes if c.way == "as_it_ran")
    # software is the device's own: the change as it ran can be told, and what differed with it
    assert raw.verdict == "tied"
    assert [c.key for c in raw.differs] == ["software"]


def test_battery_health_is_alike_within_its_uncertainty():
    def with_health(value):
        return compared(
            day(1, {"a": 600, "c": 500}),
            day(2, {"b": 400, "c": 520}, devices=[device("b"), device("c", health_pct=value)]),
        )

    # 98 and 95.2: 2.8 is 2 √(1 + 1) = 2.828 at most; 95.1 is beyond
    assert pair(with_health(95.2), "a", "b")[0].ties.tie == "linked"
    assert pair(with_health(95.1), "a", "b")[0].ties.tie == "apart"


def test_a_device_against_itself_as_it_ran_and_against_the_others():
    found = compared(day(1, {"a": 600, "c": 500, "d": 480}), day(2, {"a": 480, "c": 520, "d": 500}))
    raw, against = (c for c in found.changes if found.units[c.unit].name == "a")
    # ln 480/600 = −0.2231 against √2 × 0.03 and two windows
    assert raw.alone.difference == pytest.approx(middle(480) - middle(600))
    windows = math.sqrt((half(480) ** 2 + half(600) ** 2) / 3)
    wide = math.hypot(Z * windows, Z * math.sqrt(2) * 0.03)
    assert raw.alone.high == pytest.approx(raw.alone.difference + wide, abs=1e-8)
    # less the mean change of c and d
    others = (middle(520) - middle(500) + middle(500) - middle(480)) / 2
    assert against.alone.difference == pytest.approx(raw.alone.difference - others)
    # two runtimes of a, and ½ + ½ of each pair of controls: √3 × 0.03
    assert against.alone.link.u_scatter == pytest.approx(math.sqrt(3) * 0.03)
    assert against.controls == ("c", "d")
    assert (raw.longer, against.longer) == (-1, -1)
    words = [c.wording for c in found.claims if c.code == "changed"]
    assert any("a ran shorter in" in w and "the device or the day" in w for w in words)


def test_the_only_device_that_returned_cannot_be_told_from_the_day():
    found = compared(day(1, {"a": 600, "c": 500}), day(2, {"a": 480, "b": 520}))
    against = next(c for c in found.changes if c.way == "against_the_others")
    assert against.verdict == "cannot_be_said"
    assert "no other device" in against.why


def test_returns_are_judged_together():
    found = compared(
        day(1, {"a": 600, "b": 500}), day(2, {"a": 600, "b": 500}), day(3, {"a": 600, "b": 500})
    )
    # two devices, each 1→2, 2→3, 1→3: six returns a way, 1 − 0.05/6 → 2.638257
    assert len(found.changes) == 12
    raw = found.changes[0]
    ratio = (raw.family.high - raw.family.difference) / (raw.alone.high - raw.alone.difference)
    assert ratio == pytest.approx(2.638257 / Z, rel=1e-3)


def test_runs_of_a_session_are_pooled():
    first = join_runs(day(1, {"a": 600, "c": 500}), day(1, {"a": 620, "c": 510}))
    found = compared(first, day(2, {"b": 400, "c": 520}))
    link, sign = pair(found, "a", "b")
    mean_a = (middle(600) + middle(620)) / 2
    mean_c = (middle(500) + middle(510)) / 2
    expected = (mean_a - mean_c) - (middle(400) - middle(520))
    assert link.alone.difference * sign == pytest.approx(expected)
    # value = device + run + scatter leaves one degree of freedom; the moves of a and c are m1, m2:
    # s² = (m1 − m2)²/4
    m1, m2 = middle(620) - middle(600), middle(510) - middle(500)
    assert found.run_scatter.dof == 1
    assert found.run_scatter.s == pytest.approx(abs(m1 - m2) / 2)
    # between sessions 3 % each, between runs s²/2 for the two values of the first session
    variance = 4 * 0.0009 + found.run_scatter.s**2
    assert link.alone.link.u_scatter == pytest.approx(math.sqrt(variance))


def test_a_charged_or_overheated_device_has_no_runtime():
    charged = day(
        1, {"a": 600, "c": 500}, charges=[{"device": "a", "start_min": 10.0, "end_min": 20.0}]
    )
    found = compared(charged, day(2, {"b": 400, "c": 520}))
    assert pair(found, "a", "b")[0].ties.why == "a was charged during a run"
    hot = day(1, {"a": 600, "c": 500}, incidents=[{"device": "c", "cause": "heat_shutdown"}])
    found = compared(hot, day(2, {"b": 400, "c": 520}))
    # it links nothing then: c of the second day stands by itself
    assert pair(found, "a", "b")[0].ties.tie == "apart"
    silent = compared(day(1, {"c": 500}, devices=[device("a"), device("c")]), day(2, {"c": 520}))
    assert pair(silent, "a", "c")[0].ties.why == "no runtime of a was recorded"


# ---------------------------------------------------------------------- which is which


def test_the_same_id_with_other_hardware_is_another_device():
    found = compared(
        day(1, {"a": 600, "c": 500}, devices=[device("a"), device("c", rated_energy_wh=30.0)]),
        day(2, {"b": 400, "c": 520}, devices=[device("b"), device("c", rated_energy_wh=38.0)]),
    )
    assert [u.name for u in found.units] == ["a", "c", "b", "c [2]"]
    assert "rated energy 30 and 38" in found.remarks[0]
    assert pair(found, "a", "b")[0].ties.tie == "apart"


def test_other_ids_are_the_same_unit_where_somebody_says_so():
    days = day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "kappa": 520})
    assert pair(compared(*days), "a", "b")[0].ties.tie == "apart"
    found = compared(*days, same=same_pairs(["c=kappa"]))
    assert pair(found, "a", "b")[0].ties.tie == "linked"
    assert "said to be the same" in found.units[1].known_by
    # for one session only
    found = compared(*days, same=same_pairs(["day-1/c=day-2/kappa"]))
    assert pair(found, "a", "b")[0].ties.tie == "linked"


@pytest.mark.parametrize(
    ("same", "word"), [("c=nobody", "nobody"), ("a=c", "same unit"), ("a", "FIRST=SECOND")]
)
def test_impossible_identities_are_refused(same, word):
    with pytest.raises(UsageError, match=word):
        compared(
            day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 520}), same=same_pairs([same])
        )


def test_one_session_or_the_same_twice_is_refused():
    first = day(1, {"a": 600, "c": 500}, sources=("log.csv",))
    with pytest.raises(UsageError, match="at least two"):
        compared(first)
    with pytest.raises(UsageError, match="same record"):
        compared(first, first)


@pytest.mark.parametrize(
    "wrong", [{"coverage": 0.4}, {"session_cv": 2.0}, {"length_tolerance_pct": 100.0}]
)
def test_senseless_settings_are_refused(wrong):
    with pytest.raises(UsageError, match="give"):
        CompareSettings(**wrong)


# ---------------------------------------------------------------------- order and history


def test_places_are_intervals_and_history_is_told_from_what_was_known():
    found = compared(
        day(1, {"a": 600, "c": 400}),
        day(2, {"b": 610, "c": 400}),
        day(3, {"d": 1000, "c": 400}),
    )
    names = [found.standing.field.entries[p.entry].name for p in found.standing.places]
    assert names == ["d", "b", "a", "c"]
    places = [(p.best, p.worst) for p in found.standing.places]
    # d ahead of all, a and b not separated, c behind all
    assert places == [(1, 1), (2, 3), (2, 3), (4, 4)]
    told = [(h.leader, h.verdict, h.level) for h in found.history]
    assert told == [
        ("a", "supported", ()), ("b", "tied", ("a",)), ("d", "supported", ()),
    ]  # fmt: skip
    # a champion's claims come first, the opposite is said where it holds
    said = {c.statement: c.verdict for c in found.claims}
    assert said["b runs longer than d"] == "not_supported"
    # d and b through c: ln(1000/400) − ln(610/400) = 0.4943, or 64 %, written from b's side:
    # 610/1000 − 1 = −39 %
    told = next(c for c in found.claims if c.statement == "b runs longer than d")
    assert told.lead_pct == pytest.approx(-39.0, abs=0.1)
    assert told.low_pct < told.lead_pct < told.high_pct < 0
    link, sign = pair(found, "d", "b")
    ends = sorted((link.family.low * sign, link.family.high * sign))
    low, high = (100 * math.expm1(v) for v in ends)
    assert told.wording.replace("\N{NO-BREAK SPACE}", " ") == (
        "Over these sessions it is the other way round: d runs longer than b, by "
        f"{math.floor(low * 10) / 10:.1f} % to {math.ceil(high * 10) / 10:.1f} % "
        "(linked through c)."
    )
    assert said["d runs longest of the four devices that can be compared"] == "supported"


def test_a_session_that_nothing_links_has_a_first_of_its_own():
    found = compared(
        day(1, {"a": 600, "c": 400}), day(2, {"b": 610, "c": 400}), day(3, {"x": 900, "y": 500})
    )
    assert [h.linked for h in found.history] == [True, True, False]
    leads = [c.wording for c in found.claims if c.code == "leads"]
    # the larger group opens; no first of one group is called the first of all
    assert leads == [
        "Of the three devices that can be compared, b has the longest runtime, but a is too close "
        "to call.",
        "Of the two devices that can be compared, x runs longest: longer than each of the others.",
    ]


def test_a_later_session_changes_no_earlier_line():
    days = [day(1, {"a": 600, "c": 400}), day(2, {"b": 610, "c": 400})]
    assert compared(*days, day(3, {"d": 900, "c": 400})).history[:2] == compared(*days).history


def test_runtimes_are_those_of_the_middle_day():
    found = compared(day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 540}))
    by_name = {found.standing.field.entries[p.entry].name: p for p in found.standing.places}
    # c moved by ln 540/500; a ran on the shorter day, so it gains half of that
    move = middle(540) - middle(500)
    assert math.log(by_name["a"].runtime_h) == pytest.approx(middle(600) + move / 2)


def test_devices_under_exceptions_are_kept_apart():
    slow = Device(
        id="d", label="d", software="T 1", health_pct=98.0, conditions={"power_saver": "on"}
    )
    found = compared(
        day(1, {"a": 600, "d": 700}, devices=[device("a"), slow]), day(2, {"a": 600, "b": 500})
    )
    assert "power saver" in pair(found, "a", "d")[0].ties.why

"""Sentences on who lasted longest in one run: leads, ties, survivors and nothing recorded."""

from __future__ import annotations

from kit.analyse import analyse
from kit.results import Settings
from kit.show import wording
from kit.show.wording.facts import facts_of
from kit.show.wording.lasting import longest, ties, unfinished
from tests.helpers.builders import make_session
from tests.helpers.fake_power_offs import of_offs, off
from tests.helpers.fake_results import fake_results
from tests.helpers.shown import plain


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

"""The planned turns of a crossover or rotation in the setup file."""

from __future__ import annotations

import pytest

from kit.read.setup_file import read_setup
from kit.session import PlannedTurn

HEAD = """[[devices]]
id = "a"
[[devices]]
id = "b"
[[phases]]
id = "p"
kind = "rotation"
parts = ["call", "guide"]
planned_turns = [
"""


def test_turns_are_read_in_order() -> None:
    text = HEAD + (
        '{ start_min = 0, end_min = 10, devices = ["b"] },\n'
        '{ start_min = 12.5, end_min = 22.5, devices = ["a"] },\n]\n'
    )
    setup, findings = read_setup(text.encode(), "session.toml")
    assert findings == ()
    assert setup.phases[0].planned_turns == (
        PlannedTurn(start_min=0.0, end_min=10.0, devices=("b",)),
        PlannedTurn(start_min=12.5, end_min=22.5, devices=("a",)),
    )


def test_headings_say_the_same_as_braces() -> None:
    text = HEAD.replace("planned_turns = [\n", "") + (
        '[[phases.planned_turns]]\nstart_min = 0\nend_min = 10\ndevices = ["a", "b"]\n'
    )
    setup, findings = read_setup(text.encode(), "session.toml")
    assert findings == ()
    assert setup.phases[0].planned_turns[0].devices == ("a", "b")


def test_a_phase_without_them_has_none() -> None:
    setup, _ = read_setup(b'[[phases]]\nid = "p"\n', "session.toml")
    assert setup.phases[0].planned_turns == ()


@pytest.mark.parametrize(
    ("turns", "rule", "line", "key", "words"),
    [
        ('{ start_min = 0, end_min = 10, devices = ["c"] }', "setup-device", 9,
         "planned_turns[1].devices", "ids of [[devices]]: a, b"),
        ('{ start_min = 0, end_min = 10, devices = ["a"] },\n'
         '{ start_min = 5, end_min = 15, devices = ["b"] }', "setup-split", 9,
         "planned_turns[2].start_min", "start_min from 10"),
        ('{ start_min = 10, end_min = 10, devices = ["a"] }', "setup-split", 9,
         "planned_turns[1].end_min", "an end_min after it"),
        ('{ end_min = 10, devices = ["a"] }', "setup-split", 9,
         "planned_turns[1].start_min", "in order of time"),
        ('{ start_min = 0, end_min = 10, devices = [] }', "setup-split", 9,
         "planned_turns[1].devices", "each once"),
        ('{ start_min = 0, end_min = 10, devices = ["a", "a"] }', "setup-split", 9,
         "planned_turns[1].devices", "each once"),
        ('{ start_min = 0, end_min = 10, device = ["a"] }', "setup-key", 9,
         "planned_turns[1].device", "Did you mean 'devices'?"),
        ("5", "setup-value", 9, "planned_turns", "an array of tables"),
    ],
)  # fmt: skip
def test_faults(turns: str, rule: str, line: int, key: str, words: str) -> None:
    _, findings = read_setup(f"{HEAD}{turns}\n]\n".encode(), "session.toml")
    found = next(f for f in findings if f.rule == rule)
    assert (found.severity, found.line, found.column) == ("error", line, f"phases[1].{key}")
    assert words in f"{found.found} {found.expected} {found.remedy}"


def test_a_plain_phase_has_no_turns() -> None:
    text = HEAD.replace('kind = "rotation"', "").replace('parts = ["call", "guide"]', "")
    text += '{ start_min = 0, end_min = 10, devices = ["a"] }\n]\n'
    _, findings = read_setup(text.encode(), "session.toml")
    assert [(f.rule, f.column) for f in findings] == [("setup-split", "phases[1].planned_turns")]

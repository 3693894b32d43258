"""What is typed, taken apart."""

from __future__ import annotations

from datetime import UTC

import pytest

from kit.recorder.keys import WORDS, Command, Misunderstood, parse
from kit.recorder.state import Protocol
from kit.recorder.words import HELP
from kit.session import Device, Phase

PROTOCOL = Protocol(
    title="A day",
    devices=(
        Device(id="limpet", label="Limpet 10"),
        Device(id="kelpfin", label="Kelpfin 11"),
        Device(id="kelt", label="Kelt 9"),
    ),
    phases=(Phase(id="p1", label="Map"),),
    zone=UTC,
)


@pytest.mark.parametrize(
    ("typed", "command"),
    [
        ("91", Command(action="reading", number=91)),
        ("91%", Command(action="reading", number=91)),
        ("45,5", Command(action="reading", number=45.5)),
        ("107", Command(action="reading", number=107)),
        ("−3", Command(action="reading", number=-3)),
        ("3 91", Command(action="reading", devices=("kelt",), number=91)),
        ("LIM 91 %", None),
        ("lim 91%", Command(action="reading", devices=("limpet",), number=91)),
        ("Kelp x", Command(action="off", devices=("kelpfin",))),
        ("x", Command(action="off")),
        ("x 2", Command(action="off", number=2)),
        ("3 xx 0 @ 16:21 > loud", Command(
            action="seen_off", devices=("kelt",), number=0, at="16:21", note="loud")),
        ("x screen black", Command(action="off", note="screen black")),
        ("m lock > came up", Command(action="missed", note="lock came up")),
        ("mm", Command(action="missed_rest")),
        ("2 t 90", Command(action="tick", devices=("kelpfin",), number=90)),
        ("2 c 35,2", Command(action="temperature", devices=("kelpfin",), number=35.2)),
        ("c -4", Command(action="temperature", number=-4)),
        ("s p1", Command(action="start", text="p1")),
        ("w partly the call dropped", Command(action="turn", text="partly the call dropped")),
        ("1+3 w", Command(action="turn", devices=("limpet", "kelt"))),
        ("2 plug 40", Command(action="plug", devices=("kelpfin",), number=40)),
        ("i too hot to hold @ -3", Command(action="incident", text="too hot to hold", at="-3")),
        ("n tea at 4 > green", Command(action="note", text="tea at 4", note="green")),
        ("@ 9:05", Command(action="time", at="9:05")),
        ("@-2 > late", Command(action="time", at="-2", note="late")),
        ("> lid was shut", Command(action="add_note", note="lid was shut")),
        ("by Teal", Command(action="by", text="Teal")),
        ("Y the charger was on", Command(action="yes", text="the charger was on")),
        ("  u  ", Command(action="undo")),
        ("n a\x1b[2Jb\u202e", Command(action="note", text="a[2Jb")),
    ],
)  # fmt: skip
def test_typed_text_is_understood(typed: str, command: Command | None) -> None:
    if command is None:
        with pytest.raises(Misunderstood):
            parse(typed, PROTOCOL)
    else:
        assert parse(typed, PROTOCOL) == command


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing was typed"),
        ("4 91", "no place 4 in the row; it has 3"),
        ("kel 91", "which one? kelpfin, kelt"),
        ("whelk 91", "'whelk' is no device and no command"),
        ("3", None),
        ("limpet", "what about it?"),
        ("2 ninety", "'ninety' is no number and no command"),
        ("2 91 92", "expected a device and a percentage"),
        ("1+2 91", "expected a device and a percentage"),
        ("1+2 x", "only turns can be of several"),
        ("2 u", "u is not about one device"),
        ("2 t", "A number is missing"),
        ("c", "A number is missing"),
        ("c warm", "'warm' is no number"),
        ("e now", "'now' was not understood there"),
        ("n", "Words are missing"),
        ("2 i", "Words are missing"),
        (">", "> needs a note after it"),
    ],
)
def test_what_means_nothing_is_refused_with_what_would(typed: str, words: str | None) -> None:
    if words is None:
        assert parse(typed, PROTOCOL).action == "reading"
        return
    with pytest.raises(Misunderstood) as caught:
        parse(typed, PROTOCOL)
    assert words in str(caught.value)


def test_a_device_may_have_the_name_of_a_command_and_is_reached_by_its_place() -> None:
    protocol = Protocol(title="", devices=(Device(id="x", label="X"),), phases=(), zone=UTC)
    assert parse("x", protocol) == Command(action="off")
    assert parse("1 x", protocol) == Command(action="off", devices=("x",))


def test_every_short_command_stands_in_the_help() -> None:
    shown = HELP.split()
    for word in WORDS:
        if len(word) <= 2 and word not in ("?",):
            assert word in shown, word


def test_the_help_fits_a_small_terminal_above_the_entry_line() -> None:
    lines = HELP.splitlines()
    assert len(lines) <= 18
    assert max(map(len, lines)) < 80

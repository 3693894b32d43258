"""Names as they are shown: cut, apart, and never empty."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kit import labels
from kit.session import Device
from tests.helpers.builders import make_session


def test_a_long_label_is_cut_with_an_ellipsis() -> None:
    text = labels.shorten("x" * 300, 18)
    assert text == "x" * 17 + "…"
    assert labels.text_width(text) == 18


def names_of(*texts: str, width: int = 18) -> list[str]:
    """Return the names of devices with these labels."""
    session = make_session(
        devices=[Device(id=f"d{k}", label=text) for k, text in enumerate(texts)],
        phases={"p1": 60},
        readings={},
    )
    return list(labels.device_names(session, width).values())


def test_labels_that_would_look_alike_are_cut_in_the_middle() -> None:
    long = "The very same beginning, "
    assert names_of(f"{long}unit A", f"{long}unit B") == [
        "The very…g, unit A",
        "The very…g, unit B",
    ]


def test_labels_that_still_look_alike_get_their_number() -> None:
    long = "The very same beginning, {} and the same long end"
    assert names_of(long.format("A"), long.format("B")) == [
        "The very same… [1]",
        "The very same… [2]",
    ]


def test_a_label_that_looks_like_a_numbered_one_stays_apart() -> None:
    session = make_session(
        devices=[
            Device(id=key, label=text) for key, text in zip("abc", ["x", "X", "x [1]"], strict=True)
        ],
        phases={"p1": 60},
        readings={},
    )
    names = labels.device_names(session)
    assert len({name.casefold() for name in names.values()}) == 3
    assert names["c"] == "x [1]"


def test_an_invisible_label_falls_back_on_the_id() -> None:
    session = make_session(
        devices=[Device(id="a", label="\u202e"), Device(id="b", label=" ")],
        phases={"p1": 60},
        readings={},
    )
    assert labels.device_names(session) == {"a": "a", "b": "b"}


@given(st.lists(st.text(max_size=60), min_size=1, max_size=12), st.integers(10, 40))
def test_names_are_apart_and_fit(texts: list[str], width: int) -> None:
    session = make_session(
        devices=[Device(id=f"d{k}", label=text) for k, text in enumerate(texts)],
        phases={"p1": 60},
        readings={},
    )
    names = labels.device_names(session, width)
    assert len({name.casefold() for name in names.values()}) == len(texts)
    assert all(0 < labels.text_width(name) <= width for name in names.values())

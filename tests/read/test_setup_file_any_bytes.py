"""Whatever a setup file holds, it is read or told; nothing breaks the reader."""

from hypothesis import given
from hypothesis import strategies as st

from kit.read.setup_file import Setup, read_setup


@given(st.binary(max_size=200))
def test_any_bytes_are_a_setup_or_findings(data):
    setup, findings = read_setup(data, "session.toml")
    assert isinstance(setup, Setup)
    assert (
        findings
        or data.strip() == b""
        or b"#" in data
        or setup.lines
        or not data.strip(b"\xef\xbb\xbf\r\n\t ")
    )


KEYS = st.sampled_from(
    ["session", "runs", "devices", "phases", "conditions", "assumptions", "claims", "mixes", "id",
     "start", "date", "timezone", "gauge", "parts", "planned_min", "display_px", "kind", "number"]
)  # fmt: skip
VALUES = st.recursive(
    st.one_of(st.integers(-5, 5), st.booleans(), st.floats(), st.sampled_from(["", "08:00", "a"])),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(KEYS, inner, max_size=2)),
    max_leaves=6,
)


def as_toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {as_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_known_keys_with_any_values_never_break_the_reader(content):
    text = "".join(f"{k} = {as_toml(v)}\n" for k, v in content.items())
    setup, _ = read_setup(text.encode(), "session.toml")
    assert isinstance(setup, Setup)

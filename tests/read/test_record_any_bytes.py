"""Records of any bytes, rows, separators and length are read or told."""

import pandas as pd
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kit.errors import RecordError
from kit.read.record import read_record
from kit.session import FRAME_COLUMNS
from tests.helpers.records import LOG, SETUP, errors, read


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400), st.one_of(st.none(), st.binary(max_size=200)))
def test_junk_bytes_are_never_anything_but_a_record_error(tmp_path_factory, log, setup):
    folder = tmp_path_factory.mktemp("junk")
    (folder / "log.csv").write_bytes(log)
    if setup is not None:
        (folder / "session.toml").write_bytes(setup)
    findings = None
    try:
        read_record(folder)
    except RecordError as error:
        findings = error.findings
    assert findings != ()


EVENTS = ["reading", "tick", "power_off", "still_on", "phase_start", "phase_end", "turn",
          "charge_start", "charge_end", "temperature", "incident", "note", "", "x"]  # fmt: skip

CELLS = {
    "event": st.sampled_from(EVENTS),
    "run": st.sampled_from(["", "", "1", "2", "0"]),
    "phase": st.sampled_from(["", "map", "photo", "mop"]),
    "point": st.sampled_from(["", "start", "end", "inside"]),
    "device": st.sampled_from(["", "limpet", "dunlin", " limpet"]),
    "date": st.sampled_from(["", "", "2026-05-16", "0001-01-01", "9999-12-31", "16.05.2026"]),
    "clock": st.sampled_from(["", "08:00", "23:59:59", "02:30", "0001-01-01T00:00",
                              "9999-12-31T23:59:59+14:00", "2:05 PM"]),
    "elapsed_min": st.sampled_from(["", "0", "999999", "-999999", "1.5", "2:05"]),
    "soc_pct": st.sampled_from(["", "100", "0", "0.5", "101"]),
    "last_on": st.sampled_from(["", "08:00", "999999", "9999-12-31T23:59"]),
    "first_off": st.sampled_from(["", "08:00", "-5", "0001-01-01T00:00"]),
    "temperature_c": st.sampled_from(["", "20"]),
    "duration_min": st.sampled_from(["", "10", "1000000"]),
    "part": st.sampled_from(["", "a"]),
}  # fmt: skip

SETUPS = [
    None,
    SETUP,
    SETUP + '[[runs]]\nnumber = 2\nstart = "2026-10-25T02:30+01:00"\n',
    SETUP.replace("08:00", "23:59").replace("2026-05-16", "9999-12-31"),
    SETUP.replace("[session]", '[session]\ntimezone = "Europe/Brussels"\nstop = "02:30"'),
    SETUP.replace("08:00", "23:59").replace("2026-05-16", "9999-12-31\ntimezone = 'Asia/Tokyo'"),
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.fixed_dictionaries(CELLS), min_size=1, max_size=8),
    st.sampled_from(SETUPS),
)
def test_rows_of_known_words_in_any_order_are_read_or_told(rows, setup):
    text = ",".join(CELLS) + "\n" + "".join(",".join(r.values()) + "\n" for r in rows)
    told = errors(text, setup)
    assert all(f.remedy and f.expected and f.found for f in told)
    if not told:
        session, _ = read(text, setup)
        assert len(session.readings) <= len(rows)
        assert not session.power_offs.duplicated(["run", "device"]).any()


def dressed(text, separator, decimal, line_end, bom):
    rows = [line.split(",") for line in text.strip().splitlines()]
    rows = [
        [c.replace(".", decimal) if c.replace(".", "").isdigit() else c for c in r] for r in rows
    ]
    quoted_rows = [[f'"{c}"' if separator in c else c for c in r] for r in rows]
    out = line_end.join(separator.join(r) for r in quoted_rows) + line_end
    return (b"\xef\xbb\xbf" if bom else b"") + out.encode()


def same(a, b, *, but=()):
    for name in FRAME_COLUMNS:
        pd.testing.assert_frame_equal(getattr(a, name), getattr(b, name), obj=name)
    for name in ("devices", "phases", "runs", "conditions", "date", "form", "has_setup"):
        if name not in but:
            assert getattr(a, name) == getattr(b, name), name


@given(
    st.sampled_from(",;\t"),
    st.sampled_from(".,"),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
)
@example(";", ",", "\r\n", True)
@settings(deadline=None)
def test_separators_decimal_commas_line_ends_and_marks_make_no_difference(
    separator, decimal, line_end, bom
):
    plain, _ = read(LOG.strip() + "\n")
    other, findings = read(dressed(LOG, separator, decimal, line_end, bom))
    assert findings == ()
    same(plain, other)


def test_a_dense_log_is_read_like_a_small_one_and_keeps_its_texts_as_categories():
    rows = [f"reading,{d},{s / 60:.4f},{100 - s // 200}" for s in range(6000) for d in ("a", "b")]
    small, _ = read("event,device,elapsed_min,soc_pct\n" + "\n".join(rows[:4000]) + "\n", None)
    dense, _ = read("event,device,elapsed_min,soc_pct\n" + "\n".join(rows) + "\n", None)
    assert len(dense.readings) == 12_000
    assert isinstance(dense.readings["device"].dtype, pd.CategoricalDtype)
    assert small.readings["device"].dtype == object
    head = dense.readings.head(4000).astype(small.readings.dtypes.to_dict())
    pd.testing.assert_frame_equal(head, small.readings)
    assert dense.readings["line"].tolist()[-1] == 12_001
    assert set(dense.readings["t_resolution_min"]) == {1e-4}

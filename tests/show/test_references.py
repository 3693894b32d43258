"""References of a report: those that it uses, each with how far it was checked."""

from __future__ import annotations

from dataclasses import replace

from kit.session import Device
from kit.show.references import REFERENCES, references
from kit.show.wording.sections import energy_left_out, no_energy
from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results, rows


def keys(results: object) -> list[str]:
    """Return the keys of the references of a report."""
    return [r.key for r in references(results)]  # type: ignore[arg-type]  # Results


def test_every_reference_says_what_for_and_how_far_it_was_checked() -> None:
    assert all(r.text and r.used_for and r.checked for r in REFERENCES.values())
    assert all(key == r.key for key, r in REFERENCES.items())


def test_only_what_a_report_uses_is_cited() -> None:
    plain = fake_results()
    assert keys(plain) == ["gum", "jcgm101", "acpi", "piepho"]
    rated = make_session(
        devices=[Device(id="a", label="a", rated_capacity_mah=4400.0, nominal_voltage_v=11.1)],
        phases={"p1": 60},
        readings={},
    )
    assert "watt-hour" in keys(fake_results(rated))
    pairs = rows("replicate_pairs", [{"method": "tukey"}])
    repeated = replace(
        fake_results(replicates=rows("replicates", [{"device": "limpet"}])),
        extra={"replicate_pairs": pairs},
    )
    assert keys(repeated)[-2:] == ["tukey", "iso5725"]
    paired = replace(plain, extra={"replicate_pairs": pairs.assign(method="paired")})
    assert "tukey" not in keys(paired)
    counted = replace(plain, extra={"replicate_pairs": pairs.assign(method="signed_rank")})
    assert keys(counted)[-1] == "signed-rank"
    apart = replace(plain, extra={"replicate_pairs": pairs.assign(method="rank_sum")})
    assert keys(apart)[-1] == "rank-sum"


def test_energy_is_left_out_only_without_any_rating() -> None:
    session = make_session(
        devices=[
            Device(id="a", label="Limpet 10", rated_energy_wh=30.2),
            Device(id="b", label="Kelpfin 11", rated_capacity_mah=4400.0, nominal_voltage_v=11.1),
            Device(id="c", label="Dunlin 9", rated_capacity_mah=4400.0),
        ],
        phases={"p1": 60},
        readings={},
    )
    results = fake_results(session)
    assert energy_left_out(results).endswith("left out here: Dunlin 9.")
    assert no_energy(results).startswith("No phase gives both")
    bare = fake_results(make_session(devices=("a",), phases={"p1": 60}, readings={}))
    assert no_energy(bare).startswith("The rated energy of no battery")

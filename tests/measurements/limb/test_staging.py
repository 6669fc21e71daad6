"""Findings lead to the ISL stage whose published findings they are."""

from inspect import signature
from itertools import product

import pytest

from clinic.common.vocabulary import Stage
from measurements.limb.staging import (
    Elevation,
    Fibrosis,
    Findings,
    Pitting,
    SkinChange,
    Stemmer,
    Symptom,
    suggest_stage,
)

# ISL findings as given at lymphaticnetwork.org (0, I, II, III) and Ann Phlebol 20:58 (late II).
ISL_FINDINGS = [
    (Findings(False), Stage.ZERO),
    (Findings(False, symptoms=frozenset({Symptom.HEAVINESS})), Stage.ZERO),
    (Findings(True, elevation=Elevation.YES), Stage.I),
    (Findings(True, elevation=Elevation.YES, pitting=Pitting.TWO), Stage.I),
    (Findings(True, elevation=Elevation.NO, pitting=Pitting.TWO), Stage.II),
    (Findings(True, elevation=Elevation.PARTLY, pitting=Pitting.ONE), Stage.II),
    (
        Findings(True, elevation=Elevation.NO, pitting=Pitting.NONE, fibrosis=Fibrosis.MILD),
        Stage.LATE_II,
    ),
    (
        Findings(
            True,
            elevation=Elevation.NO,
            pitting=Pitting.NONE,
            skin_changes=frozenset({SkinChange.FAT}),
        ),
        Stage.LATE_II,
    ),
    (
        Findings(True, pitting=Pitting.NONE, skin_changes=frozenset({SkinChange.PAPILLOMAS})),
        Stage.III,
    ),
    (
        Findings(True, fibrosis=Fibrosis.MARKED, skin_changes=frozenset({SkinChange.THICKENING})),
        Stage.III,
    ),
]


@pytest.mark.parametrize(("findings", "stage"), ISL_FINDINGS)
def test_the_published_findings_suggest_their_stage(findings: Findings, stage: Stage) -> None:
    found = suggest_stage(findings)
    assert found.stage is stage
    assert found.because


def test_swelling_alone_does_not_decide_and_says_what_would() -> None:
    found = suggest_stage(Findings(True))
    assert found.stage is None
    assert "response to elevation" in found.missing


def test_what_was_tested_is_not_called_missing() -> None:
    found = suggest_stage(
        Findings(True, Pitting.ONE, Elevation.YES, Stemmer.NEGATIVE, Fibrosis.NONE)
    )
    assert found.missing == ()


def test_the_reasons_name_the_findings_in_words() -> None:
    found = suggest_stage(Findings(True, Pitting.TWO, Elevation.NO, stemmer=Stemmer.POSITIVE))
    assert set(found.because) == {
        "swelling can be seen",
        "pitting 2+",
        "Stemmer sign positive",
        "elevation does not reduce it",
    }


def test_a_negative_stemmer_sign_does_not_lower_the_stage() -> None:
    """A negative sign does not exclude disease: sensitivity 92 %, from memory, not re-read."""
    for elevation in Elevation:
        without, negative = (
            suggest_stage(Findings(True, Pitting.ONE, elevation, stemmer)).stage
            for stemmer in (Stemmer.NOT_TESTED, Stemmer.NEGATIVE)
        )
        assert without is negative


@pytest.mark.parametrize("sign", [{"pitting": Pitting.ONE}, {"stemmer": Stemmer.POSITIVE}])
def test_swelling_that_is_felt_but_not_seen_is_not_stage_zero(sign: dict) -> None:
    assert suggest_stage(Findings(False, **sign)).stage is not Stage.ZERO


def test_no_stage_is_ever_computed_from_a_volume() -> None:
    assert list(signature(suggest_stage).parameters) == ["findings"]
    assert not any("ml" in name or "cm" in name for name in Findings.__dataclass_fields__)


def test_worse_tissue_never_lowers_the_stage() -> None:
    order = list(Stage)
    for visible, pitting, elevation, stemmer in product((True, False), Pitting, Elevation, Stemmer):
        soft = suggest_stage(Findings(visible, pitting, elevation, stemmer, Fibrosis.NONE)).stage
        firm = suggest_stage(Findings(visible, pitting, elevation, stemmer, Fibrosis.MARKED)).stage
        if soft and firm:
            assert order.index(firm) >= order.index(soft)


def test_firm_tissue_that_still_drains_by_elevation_is_not_late_two() -> None:
    found = suggest_stage(Findings(True, Pitting.NONE, Elevation.YES, fibrosis=Fibrosis.MILD))
    assert found.stage is Stage.II

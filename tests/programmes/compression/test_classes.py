"""Compression classes, arterial limits and the life of a garment, against their sources."""

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from programmes.compression.arterial import (
    ArterialAdvice,
    ArterialLimits,
    advice_sentence,
    arterial_advice,
    is_barred_by_pressure,
)
from programmes.compression.classes import (
    BY_KEY,
    CLASSES,
    ClassSystem,
    classes_of,
    same_name_elsewhere,
)
from programmes.compression.replacement import USUAL_MONTHS, replacement_due_on

# mmHg at the ankle, at the wrist for sleeves; None: no upper end.
# RAL-GZ 387: eurocom, quality features. BS 6612: a4medicine.com. French class 1 read in part.
# US 20-30 and 30-40: eurocom glossary (no standard, usual bands).
READ = {
    ClassSystem.RAL_LEG: [("1", 18, 21), ("2", 23, 32), ("3", 34, 46), ("4", 49, None)],
    ClassSystem.BS: [("1", 14, 17), ("2", 18, 24), ("3", 25, 35)],
    ClassSystem.FRENCH: [("1", 10, 15)],
    ClassSystem.US: [("2", 20, 30), ("3", 30, 40)],
}
# From memory, not re-read: RAL part 2, French 2 to 4 ("over 36"), the other US bands.
FROM_MEMORY = {
    ClassSystem.RAL_ARM: [("1", 15, 21), ("2", 23, 32), ("3", 34, 46)],
    ClassSystem.FRENCH: [("2", 15, 20), ("3", 20, 36), ("4", 37, None)],
    ClassSystem.US: [("1", 15, 20), ("4", 40, 50)],
}


@pytest.mark.parametrize("system", list(ClassSystem))
def test_each_system_has_the_classes_of_its_source_and_no_others(system: ClassSystem) -> None:
    listed = {(each.name, each.from_mmhg, each.to_mmhg) for each in classes_of(system)}
    assert listed == {*READ.get(system, []), *FROM_MEMORY.get(system, [])}


def test_what_was_not_re_read_is_marked_so() -> None:
    marked = {
        (each.system, each.name, each.from_mmhg, each.to_mmhg)
        for each in CLASSES
        if each.is_from_memory
    }
    assert marked == {(system, *row) for system, rows in FROM_MEMORY.items() for row in rows}
    assert all("from memory" in each.source for each in CLASSES if each.is_from_memory)


def test_class_2_means_another_pressure_elsewhere() -> None:
    others = same_name_elsewhere(BY_KEY["ral_leg:2"])
    assert {(each.system, each.from_mmhg, each.to_mmhg) for each in others} == {
        (ClassSystem.BS, 18, 24),
        (ClassSystem.FRENCH, 15, 20),
        (ClassSystem.US, 20, 30),
    }


# Rabe & Pannier (2020 consensus): barred below 0.6. UK community advice (a4medicine.com): 0.8 and
# 1.3.
@pytest.mark.parametrize(
    ("abpi", "advice"),
    [
        (0.3, ArterialAdvice.BARRED),
        (0.59, ArterialAdvice.BARRED),
        (0.6, ArterialAdvice.LIMITED),
        (0.79, ArterialAdvice.LIMITED),
        (0.8, ArterialAdvice.OPEN),
        (1.3, ArterialAdvice.OPEN),
        (1.31, ArterialAdvice.STIFF),
    ],
)
def test_the_index_bars_limits_or_warns(abpi: float, advice: ArterialAdvice) -> None:
    assert arterial_advice(abpi) is advice


def test_a_clinic_may_follow_the_stricter_source() -> None:
    strict = ArterialLimits(bar_below=0.8, warn_below=0.8)
    assert arterial_advice(0.7, strict) is ArterialAdvice.BARRED
    assert advice_sentence(0.7, strict).startswith("ABPI below 0.8: no compression.")


# Rabe & Pannier: ankle < 60, toe < 30, TcPO2 < 20 mmHg.
def test_pressures_below_their_floors_bar_compression() -> None:
    assert is_barred_by_pressure(ankle_mmhg=59)
    assert is_barred_by_pressure(toe_mmhg=29.9)
    assert is_barred_by_pressure(tcpo2_mmhg=19)
    assert not is_barred_by_pressure(ankle_mmhg=60, toe_mmhg=30, tcpo2_mmhg=20)
    assert not is_barred_by_pressure()


# RAL garments must hold their pressure for six months of use: eurocom.
def test_a_garment_is_due_six_months_after_its_issue() -> None:
    assert USUAL_MONTHS == 6
    assert replacement_due_on(date(2026, 3, 14)) == date(2026, 9, 14)
    assert replacement_due_on(date(2026, 8, 31)) == date(2027, 2, 28)


@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(1, 60))
def test_months_are_counted_as_dateutil_counts_them(issued_on: date, months: int) -> None:
    due_on = replacement_due_on(issued_on, months=months)
    assert due_on == issued_on + relativedelta(months=months)

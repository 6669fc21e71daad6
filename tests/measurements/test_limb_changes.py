"""Pairs of sessions compared in bulk, held to the comparison of one pair after the other."""

from itertools import combinations
from random import Random

import pytest

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import compare_limbs, relative_change_since, shared_section
from measurements.limb.errors import ComparisonError
from measurements.selectors.limb_changes import TwoSessions, compared, relative_changes_of
from measurements.selectors.taped import Taped, sessions_listed, taped
from tests.cast import Cast
from tests.measurements.taped_crowd import protocols, taped_episode


@pytest.mark.parametrize("seed", range(3))
def test_pairs_in_bulk_say_what_each_pair_says(cast: Cast, seed: int) -> None:
    random, ways = Random(seed), protocols()
    episodes = [taped_episode(random, cast.therapist, ways) for _ in range(20)]
    found = taped(sessions_listed(episodes))
    pairs = [
        (then, now, random.choice(list(Side)))
        for then, now in combinations(found.values(), 2)
        if then.facts.episode_id == now.facts.episode_id and then.facts.limb is now.facts.limb
    ]
    asked = [
        TwoSessions(Limb(then.facts.limb), side, then.facts.id, now.facts.id)
        for then, now, side in pairs
    ]
    changes = relative_changes_of(asked)
    in_bulk = compared(asked)
    assert len(in_bulk) == len(changes) == len(pairs)
    for (then, now, side), both, change in zip(pairs, in_bulk, changes, strict=True):
        alone = one_pair(then, now, side)
        if alone is None:
            assert both is change is None
            continue
        first, last = alone
        assert both
        assert change
        assert both.then.excess_ml == pytest.approx(first.excess_ml, rel=1e-9, abs=1e-9)
        assert both.now.excess_error_ml == pytest.approx(last.excess_error_ml, rel=1e-9)
        judged = relative_change_since(last, first)
        assert change.value == pytest.approx(judged.value, rel=1e-9, abs=1e-9)
        assert change.error == pytest.approx(judged.error, rel=1e-9)
        assert change.verdict is judged.verdict


def one_pair(then: Taped, now: Taped, side: Side):  # type: ignore[no-untyped-def]
    four = [limb for each in (then, now) for limb in (each.of(side), each.of(side.other))]
    try:
        section = shared_section(*four) if all(four) else None
    except ComparisonError:
        return None
    if section is None:
        return None
    return tuple(
        compare_limbs(*four[place : place + 2], section=section, tape=now.tape) for place in (0, 2)
    )


def test_nothing_asked_is_nothing_told(db: None) -> None:
    assert compared([]) == relative_changes_of([]) == []

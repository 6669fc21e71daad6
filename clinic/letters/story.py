"""Which story a letter tells, from its numbers. No database, no clock.

The first rule that holds decides, in this order:

1. Discharge: the episode had ended by the last day of the period.
2. Interruption: a finding is open that bars all treatment.
3. Early detection: surveillance at the start of the period, and a limb now beyond measurement
   error above its baseline that was not so in the last letter.
4. Worsening: a limb rose beyond measurement error since the last letter, without one since
   baseline, or crossed that line since the last letter; or it rose suddenly.
5. Interruption: an intensive phase in which for more than two weeks nothing was taped and no visit
   charted.
6. Good response: a limb fell beyond measurement error since the last letter, without one since
   baseline.
7. Plateau: an intensive phase in which every limb has reached the level it approaches.
8. Steady: none of these.

A difference within measurement error is no change, whatever its sign; what the last letter told of
is no change either, until the limb is measured again. Which stories a letter knows, and their
order, are common practice, no source.
"""

from collections.abc import Iterator
from datetime import date, timedelta

from clinic.common.vocabulary import Phase
from clinic.letters.clauses import News, all_tracks, day, fresh_news, is_newly_risen, tracks
from clinic.letters.story_words import Story
from clinic.letters.summary import ProgressSummary

# Intensive treatment runs daily to several times a week and is taped weekly; common practice, no
# source.
GAP = timedelta(days=14)

NEWS_OF_ITSELF = frozenset(
    {
        Story.WORSENING,
        Story.EARLY_DETECTION,
        Story.INTERRUPTION,
        Story.DISCHARGE,
        Story.GOOD_RESPONSE,
    }
)


def story_of(summary: ProgressSummary) -> Story:
    """The first story whose rule holds."""
    return next(_stories(summary))


def _stories(summary: ProgressSummary) -> Iterator[Story]:
    news = fresh_news(summary)
    newly_risen = any(is_newly_risen(track) for track in all_tracks(summary))
    if summary.phase is Phase.DISCHARGED:
        yield Story.DISCHARGE
    if summary.barring:
        yield Story.INTERRUPTION
    if newly_risen and _was_watched(summary):
        yield Story.EARLY_DETECTION
    if newly_risen or News.WORSE in news or _rose(summary):
        yield Story.WORSENING
    if is_gap(summary):
        yield Story.INTERRUPTION
    if News.BETTER in news:
        yield Story.GOOD_RESPONSE
    if is_level(summary):
        yield Story.PLATEAU
    yield Story.STEADY


def _was_watched(summary: ProgressSummary) -> bool:
    return (summary.phase_before or summary.phase) is Phase.SURVEILLANCE


def _rose(summary: ProgressSummary) -> bool:
    return any(numbers.rose_suddenly for numbers in summary.limbs)


def is_gap(summary: ProgressSummary) -> bool:
    """Whether an intensive phase went without measurement or visit for more than two weeks."""
    if summary.phase is not Phase.INTENSIVE or not summary.limbs:
        return False
    return summary.period_to - max(_last_seen_on(summary), summary.phase_since_on) > GAP


def _last_seen_on(summary: ProgressSummary) -> date:
    taped_on = max(numbers.now.taken_on for numbers in summary.limbs)
    return max(taped_on, summary.seen_on or taped_on)


def is_level(summary: ProgressSummary) -> bool:
    """Whether all that falls in a running intensive phase has reached the level it approaches."""
    running = [each for numbers in summary.limbs for each in numbers.plateaus if not each.ended_on]
    return (
        summary.phase is Phase.INTENSIVE
        and bool(running)
        and all(each.is_reached for each in running)
    )


def has_news(summary: ProgressSummary) -> bool:
    """Whether a referrer who wants letters only about changes gets one.

    Yes for a first letter, a new phase in the period, and every story that is a change.
    """
    is_first = summary.last_letter_on is None
    new_phase = summary.period_from <= summary.phase_since_on <= summary.period_to
    return is_first or new_phase or story_of(summary) in NEWS_OF_ITSELF


def opening(summary: ProgressSummary) -> str:
    """What comes before better, same or worse, where the story has words of its own."""
    story = story_of(summary)
    if story is Story.DISCHARGE:
        return f"Treatment here ended on {day(summary.phase_since_on)}"
    if story is Story.INTERRUPTION:
        return _paused(summary)
    if story is Story.EARLY_DETECTION:
        return f"{_found_early(summary)} at a routine check ({_times_seen(summary)})"
    return "Levelled off" if story is Story.PLATEAU else ""


def _paused(summary: ProgressSummary) -> str:
    if summary.barring:
        found = summary.barring[0]
        return f"Treatment is paused ({found.precaution.label}, found {day(found.found_on)})"
    seen_on, until_on = day(_last_seen_on(summary)), day(summary.period_to)
    return f"Treatment interrupted: no visit on record between {seen_on} and {until_on}"


def _found_early(summary: ProgressSummary) -> str:
    """Both limbs larger may be the whole body, such as weight: not called swelling.

    What grew within days is not early, and what was seen once may be the tape.
    """
    for numbers in summary.limbs:
        if sum(is_newly_risen(track) for track in tracks(numbers)) > 1:
            return f"Both {numbers.limb.label}s found larger"
    if _rose(summary):
        return "Sudden swelling found"
    return "Possible early swelling" if _times_risen(summary) == 1 else "Early swelling found"


def _times_seen(summary: ProgressSummary) -> str:
    """How sure: at how many sessions in a row the limb stood above its baseline."""
    times = _times_risen(summary)
    return TIMES_SEEN.get(times, f"seen {times} times in a row")


def _times_risen(summary: ProgressSummary) -> int:
    risen = [track for track in all_tracks(summary) if is_newly_risen(track)]
    return max(track.times_risen for track in risen)


TIMES_SEEN = {1: "seen once so far", 2: "seen twice in a row"}

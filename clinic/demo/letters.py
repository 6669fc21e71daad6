"""Acts about progress letters."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from clinic.clients.models import Episode
from clinic.common.print import NotPrinted, can_print
from clinic.demo.scenario import Story
from clinic.demo.stage import Act, Stage
from clinic.demo.tapings import Tape
from clinic.letters.errors import LetterTooLong
from clinic.letters.models import ProgressLetter
from clinic.letters.services import (
    approve_letter,
    compile_letter,
    discard_letter,
    edit_letter,
    final_sheet,
    texts_of,
)

# What the therapist writes; the sentence that matters is left as the record proposes it.
WRITTEN = ("treatment", "adherence", "plan", "request")


def acts_of_letters(story: Story, episode: Episode, stage: Stage, tape: Tape) -> Iterator[Act]:
    for told in story.letters:
        yield _letter_act(told, episode, stage, tape)


def _letter_act(told: dict[str, Any], episode: Episode, stage: Stage, tape: Tape) -> Act:
    def play() -> None:
        tape.flush()
        _write(told, episode, stage)

    return Act(told["day"], 7, play)


def _write(told: dict[str, Any], episode: Episode, stage: Stage) -> None:
    """A machine that cannot print has no approved letters: an approved one is its very bytes."""
    if told["approved"] and not can_print():
        return
    by = episode.therapist
    letter = compile_letter(
        episode=episode,
        period_from=stage.day(told["from"]),
        period_to=stage.day(told["to"]),
        by=by,
    )
    texts = replace(texts_of(letter), **{name: told[name] for name in WRITTEN if name in told})
    letter = edit_letter(letter=letter, texts=texts, edited_at=letter.edited_at, by=by)
    if told["approved"]:
        _approve(letter, episode)


def _approve(letter: ProgressLetter, episode: Episode) -> None:
    by = episode.therapist
    try:
        approve_letter(letter=letter, digest=final_sheet(letter, by).digest, by=by)
    except (NotPrinted, LetterTooLong):
        discard_letter(letter=letter, by=by)

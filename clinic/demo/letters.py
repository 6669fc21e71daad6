"""Acts about progress letters."""

from collections.abc import Iterator

from clinic.clients.models import Episode
from clinic.demo.scenario import Story
from clinic.demo.stage import Act, Stage
from clinic.demo.tapings import Tape


def acts_of_letters(story: Story, episode: Episode, stage: Stage, tape: Tape) -> Iterator[Act]:
    yield from ()

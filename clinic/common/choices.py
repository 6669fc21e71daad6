"""Vocabulary words as Django choices."""

from clinic.common.vocabulary import Word


def choices_of(words: type[Word]) -> list[tuple[str, str]]:
    """(value, label) pairs, label with a capital first letter, in the order of the vocabulary."""
    return [(word.value, word.label[:1].upper() + word.label[1:]) for word in words]


def check_values(words: type[Word]) -> list[str]:
    """The values a database constraint may allow."""
    return [word.value for word in words]

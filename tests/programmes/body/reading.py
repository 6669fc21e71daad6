"""Flesch-Kincaid grade of a text.

Source: Kincaid, Fishburne, Rogers, Chissom 1975, Research Branch Report 8-75: grade =
0.39 words per sentence + 11.8 syllables per word - 15.59. Syllables are counted by the vowel
groups of a word; the count is tested against a list of words split as in a dictionary.
"""

import re

EXTRA = re.compile(r"[aeiouy]+")
SILENT_END = re.compile(r"(?:[^laeiouy]es|[^aeiouytd]ed|[^l]e|[^aeiouytdscgxz]les)$")
SOFT_ES = re.compile(r"(?:[scgxz]|[sc]h)es$")
TWO_VOWELS_SPOKEN_APART = re.compile(r"ia|io(?!n)|[aeiou]ing$|uid")


def syllables(word: str) -> int:
    """Syllables of one English word, at least 1."""
    word = word.lower()
    count = len(EXTRA.findall(word)) + len(TWO_VOWELS_SPOKEN_APART.findall(word))
    if SILENT_END.search(word) and not SOFT_ES.search(word):
        count -= 1
    return max(1, count)


def grade(text: str) -> float:
    """Flesch-Kincaid grade; sentences end in a full stop."""
    sentences = [one for one in re.split(r"[.!?]+", text) if one.strip()]
    words = re.findall(r"[A-Za-z']+", text)
    spoken = sum(syllables(word) for word in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * spoken / len(words) - 15.59

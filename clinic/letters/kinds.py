"""The three papers that are compiled from the record, and what each one says. Pure."""

from clinic.common.vocabulary import Word


class LetterKind(Word):
    """What a paper is for: the referrer, the payer, or the end of an episode."""

    LETTER = "letter", "progress letter"
    REPORT = "report", "progress report"
    DISCHARGE = "discharge", "discharge summary"

    @property
    def titled(self) -> str:
        return self.label[0].upper() + self.label[1:]

    @property
    def paper(self) -> str:
        """How a sentence calls it: "the letter", "the report", "the summary"."""
        return self.label.rpartition(" ")[2]

    @property
    def compared_with(self) -> str:
        """What "now" is held against, beside the baseline."""
        return COMPARED_WITH[self]

    @property
    def most_pages(self) -> int:
        return MOST_PAGES[self]

    @property
    def is_report(self) -> bool:
        """Whether it is a progress report to the payer's rules: a discharge summary is the last.

        Source: CMS Medicare Benefit Policy Manual (Pub. 100-02), chapter 15, 220.3 D, as in the
        care reference ("discharge note: progress report for the last period").
        """
        return self is not LetterKind.LETTER

    @property
    def texts(self) -> tuple[str, ...]:
        """The free texts it has, in the order of the form."""
        return TEXTS[self]


COMPARED_WITH = {
    LetterKind.LETTER: "last letter",
    LetterKind.REPORT: "last report",
    LetterKind.DISCHARGE: "first session",
}
MOST_PAGES = {LetterKind.LETTER: 1, LetterKind.REPORT: 2, LetterKind.DISCHARGE: 2}
TEXTS = {
    LetterKind.LETTER: ("bottom_line", "treatment", "adherence", "plan", "request"),
    LetterKind.REPORT: ("bottom_line", "treatment", "response", "skilled_need", "plan"),
    LetterKind.DISCHARGE: (
        "bottom_line",
        "treatment",
        "self_care",
        "adherence",
        "plan",
        "request",
    ),
}

# What each text is called on the page; on paper as well, but for the sentence that opens it.
HEADINGS = {
    "bottom_line": "The sentence that matters",
    "treatment": "Treatment given",
    "response": "Response to treatment",
    "skilled_need": "Why skilled care is still needed",
    "self_care": "Self-care plan",
    "adherence": "Home programme and adherence",
    "plan": "Plan",
    "request": "What we ask of you",
}
HEADINGS_OF = {(LetterKind.DISCHARGE, "plan"): "Re-measurement and when to return"}


def heading(kind: LetterKind, text: str) -> str:
    return HEADINGS_OF.get((kind, text), HEADINGS[text])

"""What can be taken out, and how each is named in the access record. Pure."""

from clinic.common.vocabulary import Word


class Taken(Word):
    """What leaves the practice."""

    RECORD = "record", "record as FHIR R4"
    GIRTHS = "girths", "girths as CSV"

    @property
    def verb(self) -> str:
        """Of one client, in the access record."""
        return f"{self.value}.taken_out"

    @property
    def verb_for_all(self) -> str:
        """Of everybody, in the access record."""
        return f"{self.value}.all_taken_out"

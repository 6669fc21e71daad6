"""Open standards out and in: a record as FHIR R4 and CSV, lists from CSV."""

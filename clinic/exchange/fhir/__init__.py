"""A client's record as FHIR R4 resources: plain dicts made from rows, without a query."""

"""The short list of diagnoses an episode may carry. Pure.

Codes and descriptions: ICD-10-CM, fiscal year 2026 update of April 2026 (US government, public
domain). Compared with an outside copy of the official table in tests/clinic/clients.
"""

DIAGNOSES: dict[str, str] = {
    "I97.2": "Postmastectomy lymphedema syndrome",
    "I89.0": "Lymphedema, not elsewhere classified",
    "Q82.0": "Hereditary lymphedema",
    "I97.89": "Other postprocedural complications and disorders of the circulatory system, "
    "not elsewhere classified",
    "I87.2": "Venous insufficiency (chronic) (peripheral)",
    "E88.2": "Lipomatosis, not elsewhere classified",
    "R60.0": "Localized edema",
    "Z85.3": "Personal history of malignant neoplasm of breast",
    "Z90.11": "Acquired absence of right breast and nipple",
    "Z90.12": "Acquired absence of left breast and nipple",
    "Z90.13": "Acquired absence of bilateral breasts and nipples",
    "Z92.3": "Personal history of irradiation",
}


def diagnosis_choices() -> list[tuple[str, str]]:
    return [(code, f"{code}  {description}") for code, description in DIAGNOSES.items()]

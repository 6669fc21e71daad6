"""What a person types into each form of this app, complete and valid. All invented."""

from typing import Any

from clinic.accounts.models import User


def client_answers(**differences: Any) -> dict[str, Any]:
    return {
        "given_name": "Odette",
        "family_name": "Pell",
        "born_on": "2 Jan 1950",
        "sex": "female",
        "record_number": "",
        "phone": "555 0100",
        "email": "",
        "street": "1 Mole End",
        "town": "Saltmere, NY 10001",
        "referrer": "",
        "agrees_to_letters": "on",
        "new-delivery": "post",
        "new-letter_frequency": "monthly",
    } | differences


def referrer_answers(prefix: str = "", **differences: Any) -> dict[str, Any]:
    typed = {
        "title": "Dr.",
        "given_name": "Linus",
        "family_name": "Grebe",
        "speciality": "Surgery",
        "organisation": "Quay Hospital",
        "street": "9 Quay Road",
        "town": "Saltmere, NY 10001",
        "phone": "",
        "fax": "",
        "email": "",
        "delivery": "post",
        "letter_frequency": "monthly",
    } | differences
    return {f"{prefix}{name}": value for name, value in typed.items()}


def region_answers(*rows: tuple[str, str, str]) -> dict[str, Any]:
    typed: dict[str, Any] = {"regions-TOTAL_FORMS": "3", "regions-INITIAL_FORMS": "0"}
    for number in range(3):
        region, side, involvement = rows[number] if number < len(rows) else ("", "", "swollen")
        typed[f"regions-{number}-region"] = region
        typed[f"regions-{number}-side"] = side
        typed[f"regions-{number}-involvement"] = involvement
    return typed


def episode_answers(therapist: User, **differences: Any) -> dict[str, Any]:
    rows = differences.pop("rows", [("arm", "right", "swollen")])
    return {
        "opened_on": "5 Jan 2026",
        "cause": "cancer_treatment",
        "diagnosis": "I97.2",
        "dominant_hand": "right",
        "therapist": str(therapist.pk),
        "referrer": "",
        "referral_reason": "Swelling since spring",
        "first-phase": "intensive",
        "first-reason": "Evaluation",
        **region_answers(*rows),
    } | differences

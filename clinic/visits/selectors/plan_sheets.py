"""A plan's content and its sheet, from what was signed or, for a draft, from the record."""

from clinic.accounts.selectors import practice_card
from clinic.visits.plan_sheet import Content, PlanSheet, plan_content, plan_sheet
from clinic.visits.plans import PlanOfCare
from clinic.visits.seal import seal_of


def draft_content(plan: PlanOfCare) -> Content:
    """What a draft says now: 3 queries, with episode, client and referrer joined."""
    return plan_content(plan, practice_card())


def sheet_of(plan: PlanOfCare) -> PlanSheet:
    """The sheet of a signed plan as it was signed, of a draft as it would be."""
    return plan_sheet(plan.signed if plan.signed else draft_content(plan))


def digest_of(plan: PlanOfCare) -> str:
    """Changes when anything a signer would see of a draft changes. As `draft_content`."""
    return seal_of(draft_content(plan))

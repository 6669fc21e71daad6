"""Ask in a template what the signed-in person may do."""

from django import template

from clinic.accounts import permits

register = template.Library()


@register.filter
def may(user: object, action: str) -> bool:
    return permits.may(user, action)

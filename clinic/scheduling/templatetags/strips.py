"""The cells of one strip of the calendar.

Written here and not in a template because a week has about a thousand cells, and the template
engine takes a third of a second for what these few lines do in hundredths.
"""

from html import escape

from django import template
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from clinic.scheduling.selectors.calendar import Calendar, Row
from clinic.scheduling.selectors.strip_cards import StripCard
from clinic.scheduling.staff_time import AppointmentKind
from clinic.scheduling.strips import Cell, Gap

register = template.Library()


@register.simple_tag
def strip_cells(row: Row, calendar: Calendar) -> SafeString:
    """The td elements of a row. What people typed is escaped."""
    book = f"{reverse('appointment-new')}?{calendar.view.rows}={row.spot.resource_id}&amp;at="
    return mark_safe("".join(_cell(cell, calendar, book) for cell in row.cells))  # noqa: S308


def _cell(cell: Cell, calendar: Calendar, book: str) -> str:
    if cell.card:
        return _booked(cell.steps, cell.card, calendar.kinds[cell.card.kind_id])
    if cell.gap:
        return _free(cell.steps, cell.gap, book)
    return f'<td colspan="{cell.steps}" class="off"></td>'


def _booked(steps: int, card: StripCard, kind: AppointmentKind) -> str:
    movable = " data-movable" if card.is_movable else ""
    key = str(card.id)
    return (
        f'<td colspan="{steps}" class="booked tone-{kind.tone} is-{card.status}">'
        f'<a href="/appointments/{key}/" data-id="{key}" data-begins="{card.begins}"'
        f' data-minutes="{card.span.minutes}" data-version="{card.version}"'
        f' data-therapist="{card.therapist_id}" data-room="{card.room_id or ""}"{movable}>'
        f"<b>{escape(kind.mark)}</b> {escape(card.short_name)}"
        f'<span class="visually-hidden">, {escape(kind.name)}, {card.begins} to {card.ends},'
        f" {card.label}</span></a></td>"
    )


def _free(steps: int, gap: Gap, book: str) -> str:
    length = f'<span class="gap-length">{gap.length}</span>' if gap.is_first else ""
    return (
        f'<td colspan="{steps}" class="gap"><a href="{book}{gap.at}">{length}'
        f'<span class="visually-hidden">free from {gap.clock}, book</span></a></td>'
    )

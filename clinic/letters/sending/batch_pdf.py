"""One PDF of a batch: cover list, then each envelope, then each fax with its cover.

The letters are the very pages that were approved; only the lists and covers around them are set
here.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import groupby
from uuid import UUID

from django.template.loader import render_to_string
from django.utils import timezone
from pypdf import PdfReader, PdfWriter

from clinic.accounts.models import PaperSize, Practice
from clinic.common.print import bytes_of, one_at_a_time, pages_of, press_for
from clinic.letters.address import address_style
from clinic.letters.sending.models import Batch, Sending
from clinic.letters.sending.posting import padding
from clinic.letters.sending.ways import WITH_ADDRESS, Way

STYLES = ("css/batch_print.css",)


@dataclass(frozen=True)
class Envelope:
    """What goes to one addressee by one way. `pages` are the letters' printed pages."""

    number: int
    sendings: tuple[Sending, ...]
    pages: int
    has_sheet: bool

    @property
    def lines(self) -> list[str]:
        return self.sendings[0].addressee.splitlines()

    @property
    def address_style(self) -> str:
        return address_style(self.lines)

    @property
    def way(self) -> Way:
        return self.sendings[0].way_word

    @property
    def is_fax(self) -> bool:
        return self.way is Way.FAX

    @property
    def fax(self) -> str:
        return self.sendings[0].reached_at

    @property
    def all_pages(self) -> int:
        """With the sheet in front."""
        return self.pages + self.has_sheet


def envelopes_of(
    batch: Batch, sendings: Iterable[Sending], pages: Mapping[UUID, int]
) -> list[Envelope]:
    """Sendings in posting order as envelopes and faxes; a fax always has its cover."""
    groups = groupby(sendings, key=lambda row: (row.way, row.referrer_id, row.addressee))
    found = []
    for number, (_, group) in enumerate(groups, start=1):
        rows = tuple(group)
        on_paper = rows[0].way_word in WITH_ADDRESS
        needs_sheet = batch.address_sheets or any(row.needs_sheet for row in rows)
        found.append(
            Envelope(
                number=number,
                sendings=rows,
                pages=sum(pages[row.letter_id] for row in rows),
                has_sheet=rows[0].way_word is Way.FAX or (on_paper and needs_sheet),
            )
        )
    return found


def batch_pdf(batch: Batch, sendings: Sequence[Sending], letters: Mapping[UUID, bytes]) -> bytes:
    """Everything to print, in posting order. Raises NotPrinted."""
    readers = {letter_id: PdfReader(BytesIO(pdf)) for letter_id, pdf in letters.items()}
    pages = {letter_id: len(reader.pages) for letter_id, reader in readers.items()}
    envelopes = envelopes_of(batch, sendings, pages)
    cover, sheets = _set_around(batch, envelopes)
    writer = PdfWriter()
    _add(writer, cover, batch)
    sheet_pages = iter(range(sum(each.has_sheet for each in envelopes)))
    for envelope in envelopes:
        starts_at = len(writer.pages)
        if envelope.has_sheet:
            _add(writer, sheets, batch, page=next(sheet_pages))
        for row in envelope.sendings:
            _add_letter(writer, readers[row.letter_id], batch, is_fax=envelope.is_fax)
        writer.add_outline_item(
            title=f"{envelope.number}. {envelope.lines[0]}", page_number=starts_at
        )
    return _written(writer)


def _set_around(batch: Batch, envelopes: Sequence[Envelope]) -> tuple[PdfReader, PdfReader]:
    """The cover list, and one page for each envelope that has a sheet in front."""
    shown = {
        "batch": batch,
        "envelopes": envelopes,
        "practice": Practice.objects.first() or Practice(),
        "letters": sum(len(each.sendings) for each in envelopes),
        "pages": sum(each.all_pages for each in envelopes),
        "printed_on": timezone.localdate(),
    }
    cover = _set("letters/sending/print_cover.html", shown, batch)
    if not any(each.has_sheet for each in envelopes):
        return cover, cover
    return cover, _set("letters/sending/print_sheets.html", shown, batch)


def _set(template: str, shown: dict[str, object], batch: Batch) -> PdfReader:
    html = render_to_string(template, shown)
    with one_at_a_time:
        press = press_for(PaperSize(batch.paper_size), STYLES)
        return PdfReader(BytesIO(bytes_of(pages_of(html, press))))


def _add_letter(writer: PdfWriter, letter: PdfReader, batch: Batch, *, is_fax: bool) -> None:
    """A fax machine may read one side only, so each page of a fax has a sheet of its own."""
    pages = range(len(letter.pages)) if is_fax else (None,)
    for page in pages:
        _add(writer, letter, batch, page=page)


def _add(writer: PdfWriter, source: PdfReader, batch: Batch, *, page: int | None = None) -> None:
    """Pages, and a blank one where the next would otherwise be printed on the back of the last."""
    chosen = None if page is None else (page, page + 1)
    writer.append(source, pages=chosen, import_outline=False)
    for _ in range(padding(len(writer.pages), two_sided=batch.two_sided)):
        writer.add_blank_page()


def _written(writer: PdfWriter) -> bytes:
    """As bytes; fonts and pictures that several letters have alike are kept once."""
    writer.compress_identical_objects()
    written = BytesIO()
    writer.write(written)
    return written.getvalue()

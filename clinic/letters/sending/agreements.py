"""Keep and end a referrer's agreement to letters by e-mail."""

from datetime import date

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Referrer
from clinic.letters.sending.errors import AgreementStands
from clinic.letters.sending.models import MailAgreement
from clinic.letters.sending.passphrases import sealed


@transaction.atomic
def agree_to_mail(
    *, referrer: Referrer, passphrase: str, agreed_on: date, by: User
) -> MailAgreement:
    """Keep the passphrase, sealed; one that stood before ends. Raises AgreementStands."""
    _end(referrer, by)
    try:
        with transaction.atomic():
            kept = MailAgreement.objects.create(
                referrer=referrer,
                sealed_passphrase=sealed(passphrase),
                agreed_on=agreed_on,
                kept_by=by,
                kept_at=timezone.now(),
            )
    except IntegrityError as error:  # somebody else kept one at the same moment
        raise AgreementStands from error
    audit.record(by, "mail_agreement.kept", subject=kept)
    return kept


@transaction.atomic
def end_mail(*, referrer: Referrer, by: User) -> None:
    """End the agreement and wipe its passphrase. Nothing happens if none stands."""
    if ended := _end(referrer, by):
        audit.record(by, "mail_agreement.ended", subject=ended)


def _end(referrer: Referrer, by: User) -> MailAgreement | None:
    standing = MailAgreement.objects.select_for_update().filter(referrer=referrer, ended_at=None)
    found = standing.first()
    if found:
        standing.update(ended_at=timezone.now(), ended_by=by, sealed_passphrase="")
    return found

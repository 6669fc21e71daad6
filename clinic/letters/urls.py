from django.urls import path

from clinic.letters import views
from clinic.letters.runs import review
from clinic.letters.runs import views as runs
from clinic.letters.sending import log_views
from clinic.letters.sending import views as sending

urlpatterns = [
    path("episodes/<uuid:episode_id>/letters/", views.letters, name="letters"),
    path("episodes/<uuid:episode_id>/letters/new/", views.compile_letter, name="letter-new"),
    path("letters/<uuid:letter_id>/", views.letter, name="letter"),
    path("letters/<uuid:letter_id>/approve/", views.approve, name="letter-approve"),
    path("letters/<uuid:letter_id>/discard/", views.discard, name="letter-discard"),
    path("letters/<uuid:letter_id>/pdf/", views.pdf, name="letter-pdf"),
    path("letters/to-send/", sending.to_send, name="letters-to-send"),
    path("letters/batches/<uuid:batch_id>/", sending.batch, name="letters-batch"),
    path("letters/batches/<uuid:batch_id>/pdf/", sending.batch_pdf, name="letters-batch-pdf"),
    path("letters/batches/<uuid:batch_id>/zip/", sending.batch_zip, name="letters-batch-zip"),
    path("letters/batches/<uuid:batch_id>/mail/", sending.batch_mail, name="letters-batch-mail"),
    path("letters/sent/", log_views.sent, name="letters-sent"),
    path("letters/sent/<uuid:sending_id>/settle/", log_views.settle, name="letters-sent-settle"),
    path("letters/sent/<uuid:sending_id>/again/", log_views.again, name="letters-sent-again"),
    path(
        "referrers/<uuid:referrer_id>/letters-by-mail/",
        log_views.mail_agreement,
        name="mail-agreement",
    ),
    path(
        "referrers/<uuid:referrer_id>/letters-by-mail/end/",
        log_views.end_mail_agreement,
        name="mail-agreement-end",
    ),
    path("letters/runs/", runs.runs, name="letter-runs"),
    path("letters/runs/<uuid:run_id>/", runs.run, name="letter-run"),
    path("letters/runs/<uuid:run_id>/progress/", runs.progress, name="letter-run-progress"),
    path("letters/runs/<uuid:run_id>/repeat/", runs.repeat, name="letter-run-repeat"),
    path("letters/runs/<uuid:run_id>/review/", runs.review, name="letter-run-review"),
    path("letters/run-letters/<uuid:row_id>/", review.run_letter, name="run-letter"),
    path("letters/run-letters/<uuid:row_id>/back/", runs.put_back, name="run-letter-back"),
]

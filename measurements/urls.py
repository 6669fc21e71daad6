from django.urls import path

from measurements.views import entry, findings, imports, protocols, reports, scores

urlpatterns = [
    path("protocols/", protocols.protocols, name="protocols"),
    path("protocols/new/", protocols.new_protocol, name="protocol-new"),
    path("protocols/<uuid:protocol_id>/", protocols.protocol, name="protocol"),
    path("protocols/<uuid:protocol_id>/edit/", protocols.edit_protocol, name="protocol-edit"),
    path("protocols/<uuid:protocol_id>/retire/", protocols.retire, name="protocol-retire"),
    path("episodes/<uuid:episode_id>/girths/new/", entry.enter_girths, name="girths-enter"),
    path("episodes/<uuid:episode_id>/girths/live/", entry.live_volumes, name="girths-live"),
    path("episodes/<uuid:episode_id>/girths/draft/", entry.keep_draft, name="girths-draft"),
    path(
        "episodes/<uuid:episode_id>/girths/draft/discard/",
        entry.discard_draft,
        name="girths-draft-discard",
    ),
    path("episodes/<uuid:episode_id>/girths/import/", imports.import_girths, name="girths-import"),
    path("episodes/<uuid:episode_id>/course/", reports.course, name="girths-course"),
    path("girths/<uuid:session_id>/", reports.session, name="girths-session"),
    path("girths/<uuid:session_id>/strike/", entry.strike, name="girths-strike"),
    path("girths/<uuid:session_id>/baseline/", entry.make_baseline, name="girths-baseline"),
    path("regions/<int:region_id>/findings/new/", findings.record, name="findings-new"),
    path("regions/<int:region_id>/findings/", findings.history, name="findings"),
    path("regions/<int:region_id>/findings/suggest/", findings.suggest, name="findings-suggest"),
    path("episodes/<uuid:episode_id>/scores/", scores.scores, name="scores"),
    path("episodes/<uuid:episode_id>/scores/new/", scores.record, name="scores-new"),
    path("episodes/<uuid:episode_id>/scores/preview/", scores.preview, name="scores-preview"),
    path("episodes/<uuid:episode_id>/scores/panel/", scores.panel, name="scores-panel"),
    path("scores/<uuid:score_id>/strike/", scores.strike, name="score-strike"),
]

from django.urls import path

from clinic.clients.views import body, clients, emergency, episodes, referrers

CLIENT = "clients/<uuid:client_id>/"
TREATMENTS = f"{CLIENT}treatments/<slug:kind>/"
REFERRER = "referrers/<uuid:referrer_id>/"
EPISODE = "episodes/<uuid:episode_id>/"

urlpatterns = [
    path("clients/", clients.clients, name="clients"),
    path("clients/new/", clients.register, name="client-new"),
    path(f"{CLIENT}edit/", clients.edit, name="client-edit"),
    path(f"{CLIENT}deactivate/", clients.deactivate, name="client-deactivate"),
    path(f"{CLIENT}reactivate/", clients.reactivate, name="client-reactivate"),
    path("referrers/", referrers.referrers, name="referrers"),
    path("referrers/new/", referrers.add, name="referrer-new"),
    path(f"{REFERRER}edit/", referrers.edit, name="referrer-edit"),
    path(f"{REFERRER}deactivate/", referrers.deactivate, name="referrer-deactivate"),
    path(f"{REFERRER}reactivate/", referrers.reactivate, name="referrer-reactivate"),
    path(f"{CLIENT}episodes/new/", episodes.open_episode, name="episode-new"),
    path(f"{EPISODE}edit/", episodes.edit_episode, name="episode-edit"),
    path(f"{EPISODE}phase/", episodes.change_phase, name="episode-phase"),
    path(f"{TREATMENTS}new/", body.add_treatment, name="treatment-new"),
    path(f"{TREATMENTS}<int:treatment_id>/remove/", body.remove_treatment, name="treatment-remove"),
    path(f"{CLIENT}precautions/new/", body.record_precaution, name="precaution-new"),
    path(
        f"{CLIENT}precautions/<int:precaution_id>/clear/",
        body.clear_precaution,
        name="precaution-clear",
    ),
    path(f"{CLIENT}emergency/", emergency.emergency, name="client-emergency"),
    path("emergencies/", emergency.emergencies, name="emergencies"),
    path("emergencies/<int:access_id>/review/", emergency.review, name="emergency-review"),
]

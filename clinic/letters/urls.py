from django.urls import path

from clinic.letters import views

urlpatterns = [
    path("episodes/<uuid:episode_id>/letters/", views.letters, name="letters"),
    path("episodes/<uuid:episode_id>/letters/new/", views.compile_letter, name="letter-new"),
    path("letters/<uuid:letter_id>/", views.letter, name="letter"),
    path("letters/<uuid:letter_id>/preview/", views.preview, name="letter-preview"),
    path("letters/<uuid:letter_id>/approve/", views.approve, name="letter-approve"),
    path("letters/<uuid:letter_id>/discard/", views.discard, name="letter-discard"),
    path("letters/<uuid:letter_id>/pdf/", views.pdf, name="letter-pdf"),
]

from django.urls import URLPattern

from clinic.visits import compression_urls, list_urls, note_urls, plan_urls

urlpatterns: list[URLPattern] = [
    *compression_urls.urlpatterns,
    *note_urls.urlpatterns,
    *list_urls.urlpatterns,
    *plan_urls.urlpatterns,
]

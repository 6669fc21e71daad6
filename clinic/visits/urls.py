from django.urls import URLPattern

from clinic.visits import compression_urls

urlpatterns: list[URLPattern] = [*compression_urls.urlpatterns]

from django.http import HttpRequest, HttpResponse
from clinic.accounts.permits import permit


@permit("today.see")
def today(request: HttpRequest) -> HttpResponse:
    return HttpResponse("")


@permit("clients.see")
def client(request: HttpRequest, client_id) -> HttpResponse:
    return HttpResponse("")


@permit("audit.see")
def record_history(request: HttpRequest, client_id) -> HttpResponse:
    return HttpResponse("")

"""How the record is kept: backups and drills, periods of keeping, records past them."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.common.methods import look_or_send
from clinic.keeping.forms import RetentionForm
from clinic.keeping.selectors import retention, standing
from clinic.keeping.services.retention import save_retention_rule

SECTION = {"section": "keeping"}


@permit("keeping.see")
@require_safe
def keeping(request: HttpRequest) -> HttpResponse:
    shown = {
        "standings": standing.standings(now=timezone.now()),
        "runs": standing.latest_runs(),
        "merges": standing.merges()[: standing.RUNS_SHOWN],
        "past": retention.count_past_retention(today=timezone.localdate()),
        "waiting": standing.erasures_waiting(request.user),
    }
    return render(request, "keeping/keeping.html", shown | SECTION)


@permit("keeping.see")
@require_safe
def past_retention(request: HttpRequest) -> HttpResponse:
    shown = {
        "lines": retention.past_retention(request.GET.get("page", "1"), today=timezone.localdate()),
        "rule": retention.retention_rule(),
    }
    return render(request, "keeping/retention.html", shown | SECTION)


@permit("keeping.manage")
@look_or_send
def retention_rules(request: HttpRequest) -> HttpResponse:
    form = RetentionForm(request.POST or None, instance=retention.retention_rule())
    if form.is_valid():
        save_retention_rule(rule=form.instance, by=request.user)
        messages.success(request, "Saved. Nothing is erased by it.")
        return redirect("retention")
    return render(request, "keeping/retention_rules.html", {"form": form} | SECTION)

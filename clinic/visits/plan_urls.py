from django.urls import path

from clinic.visits.views import goals, plan_drafts, plan_paper, plans

PLAN = "plans/<uuid:plan_id>/"

urlpatterns = [
    path("episodes/<uuid:episode_id>/plans/", plans.plans, name="plans"),
    path("episodes/<uuid:episode_id>/plans/new/", plan_drafts.new, name="plan-new"),
    path(PLAN, plans.plan, name="plan"),
    path(f"{PLAN}edit/", plan_drafts.edit, name="plan-edit"),
    path(f"{PLAN}discard/", plan_drafts.discard, name="plan-discard"),
    path(f"{PLAN}sign/", plan_paper.sign, name="plan-sign"),
    path(f"{PLAN}certify/", plan_paper.certify, name="plan-certify"),
    path(f"{PLAN}end/", plan_paper.end, name="plan-end"),
    path(f"{PLAN}print/", plan_paper.printed, name="plan-print"),
    path("goals/<int:goal_id>/review/", goals.review, name="goal-review"),
]

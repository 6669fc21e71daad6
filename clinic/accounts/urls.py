from django.urls import path

from clinic.accounts import views

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("password/", views.choose_password, name="choose-password"),
    path("staff/", views.staff, name="staff"),
    path("staff/new/", views.edit_staff, name="staff-new"),
    path("staff/<int:user_id>/edit/", views.edit_staff, name="staff-edit"),
    path("staff/<int:user_id>/one-time-password/", views.renew_password, name="staff-password"),
    path("practice/", views.practice, name="practice"),
]

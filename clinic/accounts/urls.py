from django.urls import path

from clinic.accounts.views import account, sign_in, staff

urlpatterns = [
    path("sign-in/", sign_in.sign_in, name="sign-in"),
    path("sign-in/code/", sign_in.sign_in_code, name="sign-in-code"),
    path("sign-in/again/", sign_in.sign_in_again, name="sign-in-again"),
    path("sign-in/kept/", sign_in.kept_form, name="kept-form"),
    path("sign-in/still-here/", sign_in.still_here, name="still-here"),
    path("sign-out/", sign_in.sign_out, name="sign-out"),
    path("account/", account.account, name="account"),
    path("account/second-step/", account.second_factor, name="second-factor"),
    path("account/second-step/off/", account.second_factor_off, name="second-factor-off"),
    path("account/recovery-codes/new/", account.recovery_codes, name="recovery-codes"),
    path("account/sign-ins/end/", account.end_other_sign_ins, name="sign-ins-end"),
    path("account/sign-ins/<slug:mark>/end/", account.end_sign_in, name="sign-in-end"),
    path("password/", account.choose_password, name="choose-password"),
    path("staff/", staff.staff, name="staff"),
    path("staff/new/", staff.edit_staff, name="staff-new"),
    path("staff/<int:user_id>/edit/", staff.edit_staff, name="staff-edit"),
    path("staff/<int:user_id>/one-time-password/", staff.renew_password, name="staff-password"),
    path("staff/<int:user_id>/unlock/", staff.unlock, name="staff-unlock"),
    path("staff/<int:user_id>/sign-ins/end/", staff.end_sign_ins, name="staff-sign-ins-end"),
    path(
        "staff/<int:user_id>/second-step/reset/",
        staff.reset_second_factor,
        name="staff-second-factor-reset",
    ),
    path("practice/", staff.practice, name="practice"),
]

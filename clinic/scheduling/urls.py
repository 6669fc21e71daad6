from django.urls import path

from clinic.scheduling.views import (
    appointments,
    authorisations,
    calendar,
    day_sheet,
    feeds,
    free_times,
    imports,
    recalls,
    reminders,
    series,
    staff_time,
    waiting,
)

APPOINTMENT = "appointments/<uuid:appointment_id>/"
CLIENT = "clients/<uuid:client_id>/"

urlpatterns = [
    path("calendar/", calendar.calendar_page, name="calendar"),
    path("free-times/", free_times.free_times, name="free-times"),
    path("appointments/new/", appointments.book, name="appointment-new"),
    path("appointments/clients/", appointments.find_clients, name="appointment-clients"),
    path("appointments/cover/", appointments.cover, name="appointment-cover"),
    path(f"{CLIENT}appointments/new/", appointments.book, name="client-appointment-new"),
    path(APPOINTMENT, appointments.appointment, name="appointment"),
    path(f"{APPOINTMENT}move/", appointments.move, name="appointment-move"),
    path(f"{APPOINTMENT}status/", appointments.change_status, name="appointment-status"),
    path(f"{APPOINTMENT}cancel/", appointments.cancel, name="appointment-cancel"),
    path(f"{APPOINTMENT}note/", appointments.edit_note, name="appointment-note"),
    path("series/new/", series.book, name="series-new"),
    path(f"{CLIENT}series/new/", series.book, name="client-series-new"),
    path("staff-time/", staff_time.overview, name="staff-time"),
    path("staff-time/hours/<int:user_id>/", staff_time.working_hours, name="working-hours"),
    path("staff-time/time-off/new/", staff_time.add_time_off, name="time-off-new"),
    path(
        "staff-time/time-off/<int:off_id>/remove/",
        staff_time.remove_time_off,
        name="time-off-remove",
    ),
    path("staff-time/closures/new/", staff_time.add_closure, name="closure-new"),
    path(
        "staff-time/closures/<int:closure_id>/remove/",
        staff_time.remove_closure,
        name="closure-remove",
    ),
    path("staff-time/rooms/new/", staff_time.edit_room, name="room-new"),
    path("staff-time/rooms/<int:room_id>/edit/", staff_time.edit_room, name="room-edit"),
    path("staff-time/kinds/new/", staff_time.edit_kind, name="kind-new"),
    path("staff-time/kinds/<int:kind_id>/edit/", staff_time.edit_kind, name="kind-edit"),
]

urlpatterns += [
    path("day-sheet/", day_sheet.sheet, name="day-sheet"),
    path(
        "day-sheet/<uuid:appointment_id>/status/", day_sheet.change_status, name="day-sheet-status"
    ),
    path("recalls/", recalls.recalls, name="recalls"),
    path(f"{CLIENT}recalls/<slug:reason>/snooze/", recalls.snooze, name="recall-snooze"),
    path(f"{CLIENT}recalls/<slug:reason>/unsnooze/", recalls.unsnooze, name="recall-unsnooze"),
    path("episodes/<uuid:episode_id>/recalls/", recalls.schedule, name="recall-schedule"),
    path("wait-list/", waiting.waiting, name="wait-list"),
    path("wait-list/<int:entry_id>/leave/", waiting.leave, name="wait-list-leave"),
    path(f"{CLIENT}wait-list/join/", waiting.join, name="wait-list-join"),
    path(f"{APPOINTMENT}wait-list/", waiting.opening, name="wait-list-opening"),
    path(f"{APPOINTMENT}wait-list/<int:entry_id>/", waiting.answer, name="wait-list-answer"),
    path(f"{CLIENT}authorisations/", authorisations.authorisations, name="authorisations"),
    path(f"{CLIENT}authorisations/new/", authorisations.record, name="authorisation-new"),
    path(
        "authorisations/<int:authorisation_id>/edit/",
        authorisations.edit,
        name="authorisation-edit",
    ),
    path("feeds/", feeds.feeds, name="feeds"),
    path("feeds/<int:feed_id>/revoke/", feeds.revoke, name="feed-revoke"),
    path("feeds/<str:token>.ics", feeds.feed, name="calendar-feed"),
    path(f"{APPOINTMENT}appointment.ics", feeds.one_appointment, name="appointment-file"),
    path("reminders/", reminders.reminders, name="reminders"),
    path("reminders/list.csv", reminders.reminders_file, name="reminders-file"),
    path("reminders/send/", reminders.send, name="reminders-send"),
    path(f"{CLIENT}reminders/", reminders.consents, name="reminder-consents"),
    path(
        f"{CLIENT}reminders/<int:consent_id>/withdraw/",
        reminders.withdraw,
        name="reminder-withdraw",
    ),
    path("appointments/import/", imports.import_list, name="appointments-import"),
]

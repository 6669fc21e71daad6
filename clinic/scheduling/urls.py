from django.urls import path

from clinic.scheduling.views import appointments, calendar, free_times, series, staff_time

APPOINTMENT = "appointments/<uuid:appointment_id>/"
CLIENT = "clients/<uuid:client_id>/"

urlpatterns = [
    path("calendar/", calendar.calendar_page, name="calendar"),
    path("free-times/", free_times.free_times, name="free-times"),
    path("appointments/new/", appointments.book, name="appointment-new"),
    path("appointments/clients/", appointments.find_clients, name="appointment-clients"),
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

from django.urls import path

from coaching.notify import views

app_name = "notify"
urlpatterns = [
    path("you/emails/", views.settings, name="settings"),
    path("you/notifications/", views.push_on, name="push_on"),
    path("you/notifications/<int:pk>/off/", views.push_off, name="push_off"),
    path("you/calendar/new/", views.renew, name="renew"),
    path("calendar/<str:token>.ics", views.calendar, name="calendar"),
]

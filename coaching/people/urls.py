from django.urls import path

from coaching.people.views import account, joining, record, running, studio

app_name = "people"
urlpatterns = [
    path("setup/", account.setup, name="setup"),
    path("start/", account.start, name="start"),
    path("you/", account.profile, name="profile"),
    path("you/keys/", account.tokens, name="tokens"),
    path("you/keys/<int:pk>/remove/", account.token_remove, name="token_remove"),
    path("join/<str:token>/", joining.join, name="join"),
    path("students/<int:pk>/wait/", joining.guardian_wait, name="guardian_wait"),
    path("students/<int:pk>/body/", joining.body, name="body"),
    path("students/<int:pk>/body/<int:note>/over/", joining.body_over, name="body_over"),
    path("students/<int:pk>/about/", joining.about, name="about"),
    path("students/<int:pk>/confirm/", joining.confirm, name="confirm"),
    path("students/<int:pk>/consents/", joining.consents, name="consents"),
    path("students/<int:pk>/withdraw/", joining.withdraw, name="withdraw"),
    path("students/<int:pk>/guardian/", joining.guardian, name="guardian"),
    path("students/<int:pk>/guardians/", joining.guardian_add, name="guardian_add"),
    path("students/<int:pk>/log/", record.log, name="log"),
    path("students/<int:pk>/export/", record.export, name="export"),
    path("students/<int:pk>/erase/", record.erase, name="erase"),
    path("students/invite/", studio.invite, name="invite"),
    path("students/<int:pk>/edit/", studio.student_edit, name="student_edit"),
    path("students/<int:pk>/link/", studio.new_link, name="new_link"),
    path("students/<int:pk>/link/withdraw/", studio.withdraw_link, name="withdraw_link"),
    path("students/<int:pk>/hand-over/", studio.hand_over, name="hand_over"),
    path("students/<int:pk>/close/", studio.close, name="close"),
    path("students/<int:pk>/reopen/", studio.reopen, name="reopen"),
    path("studio/<int:pk>/", running.studio, name="studio"),
    path("studio/<int:pk>/look/", running.logo, name="studio_logo"),
    path("studio/<int:pk>/members/", running.member_invite, name="member_invite"),
    path("studio/<int:pk>/members/<int:member>/", running.member_role, name="member_role"),
    path(
        "studio/<int:pk>/members/<int:member>/remove/", running.member_remove, name="member_remove"
    ),
    path("studio/<int:pk>/log/", running.log, name="studio_log"),
    path("studio/<int:pk>/promise/", running.promise, name="promise"),
    path("studio/<int:pk>/days-off/", running.holidays, name="holidays"),
    path("studio/<int:pk>/holidays/", running.holiday_add, name="holiday_add"),
    path(
        "studio/<int:pk>/holidays/<int:holiday>/remove/",
        running.holiday_remove,
        name="holiday_remove",
    ),
]

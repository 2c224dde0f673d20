from django.contrib.auth.views import LogoutView
from django.urls import path

from coaching.people.views import account, joining, record, studio

app_name = "people"
urlpatterns = [
    path("login/", account.SignIn.as_view(), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("password/", account.ForgotPassword.as_view(), name="password_forgot"),
    path("password/mailed/", account.PasswordMailed.as_view(), name="password_mailed"),
    path("password/<uidb64>/<token>/", account.NewPassword.as_view(), name="password_new"),
    path("you/password/", account.ChangePassword.as_view(), name="password_change"),
    path("setup/", account.setup, name="setup"),
    path("start/", account.start, name="start"),
    path("you/", account.profile, name="profile"),
    path("join/<str:token>/", joining.join, name="join"),
    path("students/<int:pk>/wait/", joining.guardian_wait, name="guardian_wait"),
    path("students/<int:pk>/body/", joining.body, name="body"),
    path("students/<int:pk>/body/<int:note>/over/", joining.body_over, name="body_over"),
    path("students/<int:pk>/about/", joining.about, name="about"),
    path("students/<int:pk>/confirm/", joining.confirm, name="confirm"),
    path("students/<int:pk>/consents/", joining.consents, name="consents"),
    path("students/<int:pk>/withdraw/", joining.withdraw, name="withdraw"),
    path("students/<int:pk>/guardian/", joining.guardian, name="guardian"),
    path("students/<int:pk>/export/", record.export, name="export"),
    path("students/<int:pk>/erase/", record.erase, name="erase"),
    path("students/invite/", studio.invite, name="invite"),
    path("students/<int:pk>/edit/", studio.student_edit, name="student_edit"),
    path("students/<int:pk>/link/", studio.new_link, name="new_link"),
    path("students/<int:pk>/link/withdraw/", studio.withdraw_link, name="withdraw_link"),
    path("students/<int:pk>/snooze/", studio.snooze, name="snooze"),
    path("students/<int:pk>/hand-over/", studio.hand_over, name="hand_over"),
    path("students/<int:pk>/close/", studio.close, name="close"),
    path("students/<int:pk>/reopen/", studio.reopen, name="reopen"),
    path("studio/<int:pk>/", studio.studio, name="studio"),
    path("studio/<int:pk>/members/", studio.member_invite, name="member_invite"),
    path("studio/<int:pk>/members/<int:member>/", studio.member_role, name="member_role"),
    path(
        "studio/<int:pk>/members/<int:member>/remove/", studio.member_remove, name="member_remove"
    ),
    path("studio/<int:pk>/holidays/", studio.holiday_add, name="holiday_add"),
    path(
        "studio/<int:pk>/holidays/<int:holiday>/remove/",
        studio.holiday_remove,
        name="holiday_remove",
    ),
]

"""Every write about people, by subject."""

from coaching.people.services.consent import (
    agree_as_guardian,
    give_consents,
    name_guardian,
    withdraw_consents,
)
from coaching.people.services.joining import (
    describe_student,
    end_body_note,
    finish_joining,
    join_student,
    keep_club_length,
    note_body,
    open_account,
)
from coaching.people.services.record import erase_record, export_record
from coaching.people.services.students import (
    close_student,
    hand_over_student,
    invite_student,
    open_door,
    rename_student,
    reopen_student,
    snooze_student,
    withdraw_invitation,
)
from coaching.people.services.studio import (
    add_holiday,
    change_role,
    change_studio,
    create_studio,
    invite_member,
    join_studio,
    remove_holiday,
    remove_member,
)

__all__ = [
    "add_holiday",
    "agree_as_guardian",
    "change_role",
    "change_studio",
    "close_student",
    "create_studio",
    "describe_student",
    "end_body_note",
    "erase_record",
    "export_record",
    "finish_joining",
    "give_consents",
    "hand_over_student",
    "invite_member",
    "invite_student",
    "join_student",
    "join_studio",
    "keep_club_length",
    "name_guardian",
    "note_body",
    "open_account",
    "open_door",
    "remove_holiday",
    "remove_member",
    "rename_student",
    "reopen_student",
    "snooze_student",
    "withdraw_consents",
    "withdraw_invitation",
]

"""What a coach says about one finding: kept, heard, written down, gone."""

from __future__ import annotations

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, voices
from coaching.people.errors import LessonError
from coaching.people.services.record import erase_record, export_record
from coaching.review.services.sending import publish_review
from tests.coaching.practice.making import make_finding, make_review
from tests.coaching.review.clips import spoken

pytestmark = pytest.mark.django_db


def url(name, finding):
    return reverse(f"diagnosis:{name}", args=[finding.pk])


@pytest.fixture
def finding(student):
    return make_finding(review=make_review(student=student), text="you sway")


def say(finding, sound=b"sound", name="own.webm"):
    coach = finding.student.coach
    voices.keep_voice(finding=finding, by=coach, voice=ContentFile(sound, name=name))
    return finding


def test_it_is_recorded_in_the_room_and_heard_at_its_finding(client_for, finding):
    student = finding.student
    recording = SimpleUploadedFile("own.webm", spoken(1.0), content_type="audio/webm")
    coach = client_for(student.coach)
    answer = coach.post(url("say", finding), {"voice": recording}, headers={"X-Fragment": "1"})
    assert answer.status_code == 200 and url("voice", finding) in answer.content.decode()
    assert coach.post(url("said", finding), {"text": "Stay  tall & turn"}).status_code == 302
    reader = client_for(student.user)
    assert reader.get(url("voice", finding)).status_code == 404  # a draft is the studio's
    assert voices.finalize_voice(finding.pk)
    assert not voices.finalize_voice(finding.pk)
    publish_review(review=finding.review, by=student.coach)
    page = reader.get(reverse("review:read", args=[finding.review_id])).content.decode()
    assert url("voice", finding) in page and "Stay tall &amp; turn" in page
    heard = reader.get(url("voice", finding))
    assert heard["Content-Type"] == "audio/mp4"
    assert b"".join(heard.streaming_content)[4:8] == b"ftyp"
    finding.refresh_from_db()
    assert finding.voice_s == pytest.approx(1.0, abs=0.1)


def test_what_is_no_recording_is_refused(client_for, finding):
    coach = client_for(finding.student.coach)
    for data in ({}, {"voice": SimpleUploadedFile("a.exe", b"MZ")}):
        answer = coach.post(url("say", finding), data, headers={"X-Fragment": "1"})
        assert answer.status_code == 400 and 'role="alert"' in answer.content.decode()
    assert not Finding.objects.exclude(voice="").exists()
    say(finding, b"nothing to hear in it")
    assert not voices.finalize_voice(finding.pk)  # it stays as it came


def test_strangers_hear_and_say_nothing(client_for, finding, stranger):
    say(finding)
    publish_review(review=finding.review, by=finding.student.coach)
    theirs = client_for(stranger)
    assert theirs.get(url("voice", finding)).status_code == 404
    for name in ("say", "said", "unsay"):
        assert theirs.post(url(name, finding)).status_code == 404


def test_a_sent_answer_keeps_what_was_said(finding):
    say(finding)
    coach = finding.student.coach
    publish_review(review=finding.review, by=coach)
    finding.refresh_from_db()
    for act in (
        lambda: say(finding, b"other"),
        lambda: voices.remove_voice(finding=finding, by=coach),
        lambda: voices.write_voice(finding=finding, by=coach, text="x"),
    ):
        with pytest.raises(LessonError) as raised:
            act()
        assert raised.value.code == "published"
    assert Finding.objects.get(pk=finding.pk).voice.read() == b"sound"


def test_who_does_not_hear_gets_it_in_writing(finding):
    say(finding)
    review, coach = finding.review, finding.student.coach
    review.student.needs_captions = True
    review.student.save()
    with pytest.raises(LessonError) as raised:
        publish_review(review=review, by=coach)
    assert raised.value.code == "captions_needed"
    review.refresh_from_db()
    assert review.published_at is None
    voices.write_voice(finding=finding, by=coach, text="Stay tall")
    publish_review(review=review, by=coach)


@pytest.mark.django_db(transaction=True)
def test_it_goes_with_its_finding_a_second_take_and_the_record(finding):
    coach, student = finding.student.coach, finding.student
    first = say(finding).voice.name
    second = say(finding, b"again").voice.name
    assert not default_storage.exists(first) and default_storage.exists(second)
    voices.remove_voice(finding=finding, by=coach)
    assert not default_storage.exists(second)
    finding.refresh_from_db()
    third = say(finding).voice.name
    findings.remove_finding(finding=finding, by=coach)
    assert not default_storage.exists(third)
    other = make_finding(review=make_review(student=student))
    kept = say(other).voice.name
    publish_review(review=other.review, by=coach)
    assert kept.encode() in b"".join(export_record(student, by=student.user))
    erase_record(student=student, by=student.user)
    assert not default_storage.exists(kept)

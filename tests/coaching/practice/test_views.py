"""Pages of the practice: who may, who may not, and one success each."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from coaching.people.models import Student
from coaching.practice import drills
from coaching.practice.models import Assignment, Attempt, Drill, PainReport, Verdict
from coaching.practice.services import judging, library, stopping
from coaching.review.services import habits
from tests import factories, shot
from tests.coaching.practice.making import (
    TURN_RUNG,
    make_assignment,
    make_drill,
    make_finding,
    make_review,
    open_attempt,
    send_film,
    typed,
)
from tests.coaching.review.bars import hold_a_bar

pytestmark = pytest.mark.django_db
FRAGMENT = {"headers": {"X-Fragment": "1"}}
SELF_TEST = {"comparison": "self_test", "question": "Did it feel easy?"}


def url(name, *rows):
    return reverse(f"practice:{name}", args=[row.pk for row in rows])


@pytest.fixture
def review(student):
    return make_review(student=student)


@pytest.fixture
def assignment(review):
    return make_assignment(review=review)


@pytest.fixture
def attempt(assignment):
    return open_attempt(assignment)


@pytest.fixture
def coach_client(client_for, coach):
    return client_for(coach)


@pytest.fixture
def student_client(client_for, student):
    return client_for(student.user)


@pytest.fixture
def assistant(student):
    return factories.make_coach(studio=student.studio, role="assistant")


def text(answer):
    return answer.content.decode()


class TestStrangers:
    """Somebody else's object is a 404 everywhere, and nothing has changed."""

    def everything(self, assignment, attempt, student):
        report = stopping.report_pain(student=student, by=student.user, region="wrist")
        clip = send_film(attempt, (52, 4))
        verdict_free = Verdict.objects.count()
        assert verdict_free == 0
        drill = assignment.drill_version.drill
        draft = make_review(student=student)
        return {
            "get": [
                url("drill", assignment), url("progress", student), url("pain", student),
                url("pain_where", report), url("judge", attempt), url("pain_report", report),
                url("sidebar", draft), url("assign", draft), url("odds", student),
                url("library_drill", drill), url("library_edit", drill),
            ],
            "post": [
                url("hurts", assignment), url("feel", attempt), url("self_answers", clip),
                url("pain", student), url("pain_where", report), url("statement", report),
                url("verdict", attempt), url("pain_seen", report), url("reopen", report),
                url("check_film", assignment), url("skip_check", assignment),
                url("assign", draft), url("unassign", assignment),
                reverse("review:send", args=[draft.pk]),
                url("library_edit", drill), url("library_retire", drill),
            ],
        }  # fmt: skip

    def test_a_stranger(self, client_for, stranger, assignment, attempt, student):
        theirs = client_for(stranger)
        for method, urls in self.everything(assignment, attempt, student).items():
            for address in urls:
                assert getattr(theirs, method)(address).status_code == 404, address
        assert not Verdict.objects.exists()
        assert PainReport.objects.count() == 1
        assert Drill.objects.get().retired_at is None

    def test_a_student_gives_no_verdict(self, student_client, assignment, attempt, student):
        report = stopping.report_pain(student=student, by=student.user, region="wrist")
        draft = make_review(student=student)
        closed = [
            url("verdict", attempt), url("reopen", report), url("pain_seen", report),
            reverse("review:send", args=[draft.pk]), url("assign", draft),
            url("unassign", assignment), url("check_film", assignment),
            url("skip_check", assignment),
        ]  # fmt: skip
        for address in closed:
            assert student_client.post(address).status_code == 404, address
        for address in (url("judge", attempt), url("sidebar", draft), url("library")):
            assert student_client.get(address).status_code == 404, address

    def test_a_coach_reports_no_pain_and_answers_nothing(
        self, coach_client, assignment, attempt, student
    ):
        clip = send_film(attempt)
        for address in (
            url("hurts", assignment), url("feel", attempt), url("self_answers", clip),
            url("pain", student),
        ):  # fmt: skip
            assert coach_client.post(address).status_code == 404, address
        assert not PainReport.objects.exists()

    def test_an_assistant_prepares_and_decides_nothing(
        self, client_for, assistant, assignment, attempt, student
    ):
        theirs = client_for(assistant)
        report = stopping.report_pain(student=student, by=student.user, region="wrist")
        draft = make_review(student=student)
        for address in (
            url("verdict", attempt), url("reopen", report), reverse("review:send", args=[draft.pk]),
            url("assign", draft), url("library_starter"), url("library_import"),
        ):  # fmt: skip
            assert theirs.post(address).status_code == 404, address
        assert theirs.get(url("sidebar", draft)).status_code == 200
        assert theirs.get(url("library")).status_code == 200
        assert theirs.get(url("pain_report", report)).status_code == 200

    def test_a_draft_is_not_the_students_yet(self, student_client, review):
        draft = make_assignment(review=review, opened=False)
        assert student_client.get(url("drill", draft)).status_code == 404

    def test_a_guardian_does_what_the_minor_does(self, client_for, coach):
        minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
        guardian = factories.make_guardian(student=minor)
        assignment = make_assignment(review=make_review(student=minor))
        theirs = client_for(guardian)
        assert theirs.get(url("drill", assignment)).status_code == 200
        assert theirs.post(url("hurts", assignment)).status_code == 302
        assert PainReport.objects.get().reported_by == guardian


class TestTheDrillPage:
    def test_what_a_student_reads(self, student_client, assignment, attempt):
        page = text(student_client.get(url("drill", assignment)))
        for phrase in (
            "Stop if it hurts.",  # the caution
            "To turn.",  # why
            "Film 3 repetitions; all must count.",  # how many
            "at least 38°",  # what counts as done
            "Film it down the line",  # how to film
            "It hurts",
        ):
            assert phrase in page, text
        assert page.index("Stop if it hurts.") < page.index("Film 3 repetitions")
        assert reverse("intake:film", args=[attempt.angle_id]) in page

    def test_a_child_is_watched_by_an_adult(self, coach_client, assignment, student):
        watched = "An adult watches, well away from the club."
        assert watched not in text(coach_client.get(url("drill", assignment)))
        Student.objects.filter(pk=student.pk).update(age_band=Student.AgeBand.MINOR)
        assert watched in text(coach_client.get(url("drill", assignment)))

    def test_the_feel_is_asked_before_the_number(self, student_client, assignment, attempt):
        send_film(attempt, (52, 4), (20, 4), (55, 4))
        page = text(student_client.get(url("drill", assignment)))
        assert "how many do you think counted" in page
        assert "counted; your coach decides" not in page
        assert student_client.post(url("feel", attempt), {"count": "3"}).status_code == 302
        page = text(student_client.get(url("drill", assignment)))
        assert "Two counted; your coach decides." in page
        attempt.refresh_from_db()
        assert attempt.felt == 3

    def test_a_wrong_count_is_refused(self, student_client, attempt):
        for count in ("", "11", "x"):
            answer = student_client.post(url("feel", attempt), {"count": count}, follow=True)
            assert "Choose a number" in text(answer)

    def test_the_coach_may_keep_the_count_back(self, student_client, review):
        assignment = make_assignment(review=review, show_count_at_once=False, ask_feel_first=False)
        send_film(open_attempt(assignment), (52, 4), (20, 4), (55, 4))
        page = text(student_client.get(url("drill", assignment)))
        assert "counted" not in page and "Your coach looks at it first." in page

    def test_the_verdict_and_its_cue(self, student_client, assignment, attempt, coach):
        send_film(attempt, (36, 4), (20, 4), (55, 4))
        judging.judge_attempt(attempt=attempt, by=coach, decision="nearly", cue="Pocket back")
        page = text(student_client.get(url("drill", assignment)))
        assert "Nearly." in page and "Pocket back" in page

    def test_self_tests(self, student_client, review):
        assignment = make_assignment(review=review, steps=[TURN_RUNG | {"criteria": [SELF_TEST]}])
        attempt = open_attempt(assignment)
        clip = send_film(attempt)
        criterion = attempt.step.criteria.get()
        assert "Did it feel easy?" in text(student_client.get(url("drill", assignment)))
        student_client.post(url("self_answers", clip), {f"answer-{criterion.pk}": "yes"})
        assert clip.self_answers.get().yes is True

    def test_an_early_step_that_asks_for_more_says_why(self, student_client, review):
        last = {"comparison": "at_least", "measure": "pelvis_turn_deg", "event": "top", "low": 30}
        assignment = make_assignment(
            review=review, steps=[TURN_RUNG, TURN_RUNG | {"criteria": [last]}]
        )
        page = text(student_client.get(url("drill", assignment)))
        assert "A bit more than you finally need (at least 30°)" in page


class TestAssigning:
    def post(self, client, review, drill, **fields):
        ladder = drills.newest(drill).ladder
        data = {"drill": drill.pk, "per_day": "30", "show_count_at_once": "1"}
        for place, step in enumerate(ladder):
            data |= {f"step-{place}-need": step["need"]}
            data |= {f"step-{place}-repetitions": step["repetitions"]}
        return client.post(url("assign", review), data | fields)

    def test_the_ladder_is_prefilled_with_its_odds(self, coach_client, review):
        finding = make_finding(review=review, entry="little-hip-turn")
        library.load_starter_library(by=None, studio=review.student.studio)
        page = text(coach_client.get(url("assign", review) + f"?finding={finding.pk}"))
        assert "Turn with a club on the hips" in page
        drill = make_drill(studio=review.student.studio).drill
        page = text(coach_client.get(url("assign", review) + f"?drill={drill.pk}"))
        assert "24° ± 8" in page  # the baseline, two standard deviations
        assert "is counted four times in five" in page
        assert "smallest change this angle can tell" in page

    def test_a_target_of_ones_own(self, coach_client, review):
        drill = make_drill(studio=review.student.studio).drill
        answer = self.post(
            coach_client, review, drill,
            **{
                "step-0-0-comparison": "between",
                "step-0-0-figure": "pelvis_turn_deg@top",
                "step-0-0-low": "36", "step-0-0-high": "49,5",
                "step-0-1-comparison": "self_test", "step-0-1-question": "Easy?",
                "step-1-skip": "1", "due_on": "2030-01-05", "caution": "Slowly.",
            },
        )  # fmt: skip
        assert answer.status_code == 302, text(answer)
        assignment = Assignment.objects.get()
        band, test = assignment.steps.get().criteria.all()
        assert (band.low, band.high, test.question) == (36.0, 49.5, "Easy?")
        assert (str(assignment.due_on), assignment.caution) == ("2030-01-05", "Slowly.")
        assert not assignment.ask_feel_first

    def test_a_film_with_a_held_club_where_turn_decides(self, coach_client, review):
        drill = make_drill(studio=review.student.studio).drill
        page = text(coach_client.get(url("assign", review) + f"?drill={drill.pk}"))
        assert "judges it more sharply" in page
        self.post(coach_client, review, drill, **{"step-0-bar": "1"})
        step = Assignment.objects.get().steps.first()
        criterion = step.criteria.get()
        assert (step.film_kind, criterion.measure, criterion.low) == ("bar", "bar_turn_deg", 38)
        assert step.bar_across == "hips"

    @pytest.mark.parametrize(
        ("fields", "sentence"),
        [
            ({"step-0-need": "many"}, "Write a number for how many must count."),
            ({"step-0-need": "2.5"}, "Write a whole number"),
            ({"step-0-need": "9"}, "ask for at most as many"),
            ({"due_on": "soon"}, "Write dates as year-month-day."),
            ({"due_on": "2030-13-45"}, "Write dates as year-month-day."),
            ({"per_day": "500"}, "1 to 60"),
            (
                {
                    "step-0-0-comparison": "at_least",
                    "step-0-0-figure": "pelvis_turn_deg@top",
                    "step-0-0-low": "",
                },
                "Write a number for pelvis turn at the top.",
            ),
            (
                {
                    "step-0-0-comparison": "at_least",
                    "step-0-0-figure": "socks@top",
                    "step-0-0-low": "3",
                },
                "not measured in this angle",
            ),
        ],
    )
    def test_what_cannot_be_is_one_sentence_and_nothing_is_lost(
        self, coach_client, review, fields, sentence
    ):
        drill = make_drill(studio=review.student.studio).drill
        answer = self.post(coach_client, review, drill, **({"text": "Mind the cat."} | fields))
        assert answer.status_code == 400
        assert sentence in text(answer)
        assert "Mind the cat." in text(answer)
        assert not Assignment.objects.exists()

    def test_the_wrong_prescription_offers_the_right_one(self, coach_client, review):
        library.load_starter_library(by=None, studio=review.student.studio)
        cause = make_finding(review=review, entry="steep-late-back", text="the shaft is up")
        up = make_finding(review=review, kind="compensation", text="you stand up", because=[cause])
        wall = Drill.objects.get(slug="seat-on-the-wall")
        answer = self.post(coach_client, review, wall, finding=up.pk)
        page = text(answer)
        assert answer.status_code == 400
        assert "Taken away first, the player gets worse." in page
        better = Drill.objects.get(slug="shaft-past-the-ball")
        assert f"finding={cause.pk}&amp;drill={better.pk}" in page
        answer = self.post(
            coach_client, review, wall, finding=up.pk, override_reason="Both by feel"
        )
        assert answer.status_code == 302
        assert Assignment.objects.get().override_reason == "Both by feel"

    def test_taking_out_and_sending(self, coach_client, review):
        draft = make_assignment(review=review, opened=False)
        page = text(coach_client.get(url("sidebar", review)))
        assert "A drill" in page
        coach_client.post(url("unassign", draft))
        assert not Assignment.objects.exists()
        make_assignment(review=review, opened=False)
        answer = coach_client.post(reverse("review:send", args=[review.pk]))
        assert (answer.status_code, answer.url) == (302, reverse("waiting"))
        assert Attempt.objects.count() == 1
        again = coach_client.post(reverse("review:send", args=[review.pk]), follow=True)
        assert Attempt.objects.count() == 1
        assert "sent" in text(again)

    def test_a_fragment_for_the_script(self, coach_client, review):
        make_drill(studio=review.student.studio)
        answer = coach_client.get(url("assign", review), **FRAGMENT)
        assert "<html" not in text(answer) and "<section" in text(answer)

    def test_live_odds(self, coach_client, review):
        asked = {
            "view": "down_the_line", "film_kind": "rehearsal", "need": "3", "repetitions": "3",
            "c-figure": "pelvis_turn_deg@top", "c-comparison": "between",
            "c-low": "40", "c-high": "45",
        }  # fmt: skip
        page = text(coach_client.get(url("odds", review.student), asked))
        assert "This can hardly be passed." in page
        assert "at least 35°" in page  # sd 4: 42.5 - 1.68 x 4, rounded to the easier side
        for wrong in ({"c-low": "x"}, {"c-low": "50"}, {"c-figure": "socks"}, {"need": "-1"}):
            assert coach_client.get(url("odds", review.student), asked | wrong).status_code == 200


class TestJudging:
    def test_the_page_shows_all_that_is_needed(self, coach_client, attempt):
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        page = text(coach_client.get(url("judge", attempt)))
        assert "The figures say it passes" in page
        assert "at least 38°" in page and "52° ± 8" in page
        assert page.count("<tr>") == 4

    def test_what_a_held_club_has_shown_of_the_asked_turn(self, coach_client, attempt):
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        assert "Against a held club" not in text(coach_client.get(url("judge", attempt)))
        hold_a_bar(attempt.step.assignment.student, figure=[(49, 3)], bar=[(40, 2)])
        page = text(coach_client.get(url("judge", attempt)))
        assert "Against a held club the turn of the hips reads about 9° ± 7 high" in page
        assert "52° ± 8" in page

    def test_no_clip_yet(self, coach_client, attempt):
        assert "No clip has come back" in text(coach_client.get(url("judge", attempt)))

    def test_one_press_is_a_verdict(self, coach_client, attempt):
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        answer = coach_client.post(url("verdict", attempt), {"decision": "passed"}, follow=True)
        assert "Passed. The next step is open for Sam Reed." in text(answer)
        assert Verdict.objects.get().decision == "passed"

    def test_a_second_verdict_is_a_conflict(self, coach_client, attempt):
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        coach_client.post(url("verdict", attempt), {"decision": "passed"})
        answer = coach_client.post(url("verdict", attempt), {"decision": "not_yet"})
        assert answer.status_code == 409
        assert "has its verdict already" in text(answer)

    def test_nearly_without_a_cue(self, coach_client, attempt):
        send_film(attempt, (36, 4), (35, 4), (37, 4))
        answer = coach_client.post(url("verdict", attempt), {"decision": "nearly"})
        assert answer.status_code == 400 and "one cue" in text(answer)

    def test_a_cue_said_every_day(self, coach_client, attempt):
        send_film(attempt, (36, 4), (35, 4), (37, 4))
        coach_client.post(
            url("verdict", attempt), {"decision": "nearly", "snippet": "Pocket back", "cue": ""}
        )
        assert Verdict.objects.get().cue == "Pocket back"

    def test_the_places_of_a_sentence_are_filled_from_the_film(self, coach_client, attempt, coach):
        studio = attempt.step.assignment.student.studio
        said = "{name}, you turn {measure}; we want {target}."
        habits.add_snippet(studio=studio, by=coach, title="Turn", text=said)
        page = text(coach_client.get(url("judge", attempt)))
        assert "we want" not in page  # nothing was read: an open place is not said
        send_film(attempt, (36, 4), (35, 4), (37, 4))
        page = text(coach_client.get(url("judge", attempt)))
        name = attempt.step.assignment.student.name.split()[0]
        (cue,) = re.findall(r'name="snippet" value="([^"]*)"', page)
        assert re.fullmatch(rf"{name}, you turn 36° ± \d+; we want at least 38°\.", cue)

    def test_a_spoken_verdict(self, coach_client, student_client, attempt, client_for, stranger):
        send_film(attempt, (36, 4), (35, 4), (37, 4))
        voice = SimpleUploadedFile("cue.webm", b"sound", content_type="audio/webm")
        coach_client.post(url("verdict", attempt), {"decision": "not_yet", "voice": voice})
        verdict = Verdict.objects.get()
        assert student_client.get(url("voice", verdict)).status_code == 200
        assert client_for(stranger).get(url("voice", verdict)).status_code == 404

    def test_check_film(self, coach_client, assignment):
        Assignment.objects.update(check_due_on=timezone.localdate(), closed_at=timezone.now())
        coach_client.post(url("check_film", assignment))
        assignment.refresh_from_db()
        assert assignment.check_request is not None
        other = make_assignment()
        Assignment.objects.filter(pk=other.pk).update(check_due_on=timezone.localdate())
        assert coach_client.post(url("skip_check", other)).status_code == 404
        coach_client.post(url("skip_check", assignment))
        assignment.refresh_from_db()
        assert assignment.check_due_on is None


class TestPain:
    def test_one_tap_from_the_drill(self, student_client, assignment):
        answer = student_client.post(url("hurts", assignment), follow=True)
        report = PainReport.objects.get()
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        page = text(answer)
        assert "It is stopped. Your coach has been told." in page
        assert "Seek medical care now" in page
        student_client.post(
            url("pain_where", report), {"region": "hip", "text": "sharp", "sign": "1"}
        )
        report.refresh_from_db()
        assert (report.region, report.text, report.urgent) == ("hip", "sharp", True)
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None

    def test_saying_where_frees_what_does_not_load_it(self, student, student_client, assignment):
        wrist = make_assignment(
            review=make_review(student=student),
            drill=make_drill(studio=student.studio, slug="wrist", loads=["wrist"]),
        )
        student_client.post(url("hurts", assignment))
        wrist.refresh_from_db()
        assert wrist.stopped_at is not None
        report = PainReport.objects.get()
        student_client.post(url("pain_where", report), {"region": "hip"})
        wrist.refresh_from_db()
        assignment.refresh_from_db()
        assert wrist.stopped_at is None and assignment.stopped_at is not None
        assert open_attempt(wrist).angle.request.suspended_at is None

    def test_from_any_page_by_the_body_map(self, student_client, student, assignment):
        page = text(student_client.get(url("pain", student)))
        assert page.count('name="region"') == 9
        assert student_client.post(url("pain", student), {"region": "hip"}).status_code == 302
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        assert student_client.post(url("pain", student), {"region": ""}).status_code == 400

    def test_going_on_needs_both(self, student_client, coach_client, student, assignment):
        report = stopping.report_pain(student=student, by=student.user, region="hip")
        coach_client.post(url("reopen", report))
        report.refresh_from_db()
        assert report.reopened_at is None
        student_client.post(url("statement", report), {"text": "My physio agreed."})
        page = text(coach_client.get(url("pain_report", report)))
        assert "My physio agreed." in page
        coach_client.post(url("pain_seen", report))
        coach_client.post(url("reopen", report))
        report.refresh_from_db()
        assert report.reopened_at and report.seen_at
        assert "Open again" in text(student_client.get(url("pain_where", report)))

    def test_a_stopped_drill_says_so(self, student_client, student, assignment):
        stopping.report_pain(student=student, by=student.user, region="hip")
        page = text(student_client.get(url("drill", assignment)))
        assert "stopped because it hurt" in page
        assert "Film it" not in page


class TestProgress:
    def test_different_conditions_share_no_line(self, student_client, student, assignment):
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        page = text(student_client.get(url("progress", student)))
        assert (
            page.count("<h3>") == 4
        )  # the plan’s row, the ladder, the swing before, the rehearsal
        assert page.count('class="trend"') == 0  # one film each: no line

    def test_a_trend_of_one_condition(self, student_client, student, assignment, coach):
        for value in (36, 41, 46):
            attempt = open_attempt(assignment)
            send_film(attempt, (value, 3), (value, 3), (value, 3))
            judging.judge_attempt(attempt=attempt, by=coach, decision="not_yet")
        page = text(student_client.get(url("progress", student)))
        assert page.count('class="trend"') == 1
        assert "Then" in page and "Now" in page

    def test_each_picture_is_on_the_page_once(self, student_client, student, assignment):
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        for page in (url("progress", student), url("drill", assignment)):
            shown = text(student_client.get(page))
            for measure in set(re.findall(r'popovertarget="drawn-(\w+)"', shown)):
                assert shown.count(f'id="drawn-{measure}"') == 1
                assert shown.count(f"measures/{measure}.svg") == 1
            assert 'popovertarget="drawn-pelvis_turn_deg"' in shown

    def test_nothing_yet(self, student_client, student):
        page = text(student_client.get(url("progress", student)))
        assert "Nothing is measured over time yet." in page


class TestTheEditor:
    """Rows, one button at a time; it works without script."""

    def page(self, client, ladder, do, **extra):
        return text(client.post(url("library_new"), typed(ladder) | {"do": do} | extra))

    def test_a_step_is_added_like_the_last_one_and_nothing_is_saved(self, coach_client, student):
        page = self.page(coach_client, [TURN_RUNG], "add", title="Half-typed")
        assert page.count('class="step"') == 2 and "Half-typed" in page
        assert not Drill.objects.exists()

    def test_a_figure_and_a_step_go_and_come(self, coach_client, student):
        page = self.page(coach_client, [TURN_RUNG], "criterion:0")
        assert page.count('class="criterion"') == 2
        page = self.page(coach_client, [TURN_RUNG, TURN_RUNG], "remove:0")
        assert page.count('class="step"') == 1

    def test_what_contradicts_is_said_in_its_row_with_its_repair(self, coach_client, student):
        more = TURN_RUNG | {"criteria": [TURN_RUNG["criteria"][0] | {"low": 45}]}
        page = self.page(coach_client, [TURN_RUNG, more], "up:0")
        assert "Step 2 asks for more than step 1" in page and "make it at least 38°" in page
        assert "asks for more" not in self.page(coach_client, [TURN_RUNG, more], "mend:1:0:low:38")
        fields = typed([TURN_RUNG, more]) | {
            "title": "A", "purpose": "P", "instructions": "I", "cautions": "C",
            "source": "S"}  # fmt: skip
        answer = coach_client.post(url("library_new"), fields)
        assert answer.status_code == 400 and "Step 2 asks for more" in text(answer)

    @pytest.mark.parametrize("do", ["fly", "remove:9", "mend:0", "drop:0:7", "up:x", "add:add:add"])
    def test_a_button_that_is_not_there_changes_nothing(self, coach_client, student, do):
        assert self.page(coach_client, [TURN_RUNG], do).count('class="step"') == 1

    def test_the_odds_of_the_library(self, coach_client, student):
        asked = {"view": "face_on", "film_kind": "rehearsal", "c-figure": "pelvis_turn_deg@top",
                 "c-comparison": "at_least", "c-low": "32", "c-aim": "46"}  # fmt: skip
        page = text(coach_client.get(url("library_odds"), asked))
        assert "Read to ± 14°" in page and "is counted 9 times in 10" in page
        assert text(coach_client.get(url("library_odds"), asked | {"c-low": "many"})).strip() == ""

    def test_a_ball_is_asked_of_nobody_who_has_none(self, coach_client, review):
        review.student.practice_place = "none"
        review.student.save()
        drill = make_drill(
            studio=review.student.studio, ladder=[TURN_RUNG | {"ball": "ball"}]
        ).drill
        page = text(coach_client.get(url("assign", review) + f"?drill={drill.pk}"))
        assert 'value="none" selected' in page.split("step-0-ball")[-1][:300]
        data = {"drill": drill.pk, "per_day": "30"} | typed([TURN_RUNG | {"ball": "ball"}])
        answer = coach_client.post(url("assign", review), data)
        assert answer.status_code == 400 and "at home without a ball" in text(answer)


class TestTheLibrary:
    def test_beginning_with_the_starter_drills(self, coach_client, student):
        page = text(coach_client.get(url("library")))
        assert "Begin with the starter drills" in page
        answer = coach_client.post(url("library_starter"), follow=True)
        assert "47 new drills" in text(answer)
        drill = Drill.objects.first()
        assert "Its ladder" in text(coach_client.get(url("library_drill", drill)))
        coach_client.post(url("library_retire", drill))
        drill.refresh_from_db()
        assert drill.retired_at is not None

    def test_writing_one(self, coach_client, student):
        assert coach_client.get(url("library_new")).status_code == 200
        fields = {
            "title": "My Drill", "purpose": "To stand.", "instructions": "Stand.\n\nBreathe.",
            "cautions": "Stop if it hurts.", "source": "mine", "loads": ["hip", "socks"],
            **typed([TURN_RUNG]),
        }  # fmt: skip
        answer = coach_client.post(url("library_new"), fields)
        assert answer.status_code == 302, text(answer)
        version = drills.newest(Drill.objects.get(slug="my-drill"))
        assert [step["text"] for step in version.instructions] == ["Stand.", "Breathe."]
        assert version.loads == ["hip"]
        answer = coach_client.post(
            url("library_edit", version.drill), fields | {"purpose": "", "title": "My Drill"}
        )
        assert answer.status_code == 400 and "purpose" in text(answer)
        answer = coach_client.post(url("library_new"), fields | {"step-0-0-low": "many"})
        assert answer.status_code == 400 and "Write a number for pelvis turn" in text(answer)
        assert "Breathe." in text(answer)

    def test_ones_own_picture(self, coach_client, student_client, client_for, stranger, assignment):
        version = assignment.drill_version
        row = drills.row_of("a-drill", "", version)
        fields = {
            "title": row["title"], "purpose": "Better.", "instructions": "Turn.", "loads": ["hip"],
            "cautions": row["cautions"], "source": row["source"], "set_up": "Stand.",
            **typed(row["ladder"]),
        }  # fmt: skip
        edit = url("library_edit", version.drill)
        wrong = SimpleUploadedFile("x.exe", b"x")
        assert coach_client.post(edit, fields | {"shown": wrong}).status_code == 400
        broken = SimpleUploadedFile("drill.png", b"png", content_type="image/png")
        answer = coach_client.post(edit, fields | {"shown": broken, "purpose": "Best."})
        assert answer.status_code == 400 and "can’t be read" in text(answer)
        assert drills.newest(version.drill) == version  # nothing half done
        picture = SimpleUploadedFile("drill.png", shot.png(), content_type="image/png")
        assert coach_client.post(edit, fields | {"shown": picture}).status_code == 302
        newer = drills.newest(Drill.objects.get(pk=version.drill_id))
        assert newer.shown.name.endswith(".png")
        address = url("shown_version", newer)
        kept = b"".join(coach_client.get(address).streaming_content)
        assert kept.startswith(b"\x89PNG") and shot.LATITUDE not in kept
        assert client_for(stranger).get(address).status_code == 404
        assert student_client.get(address).status_code == 404  # has the older version
        Assignment.objects.update(drill_version=newer)
        assert student_client.get(address).status_code == 200

    def test_out_and_in(self, coach_client, student):
        library.load_starter_library(by=None, studio=student.studio)
        out = coach_client.get(url("library_export"))
        assert out["Content-Disposition"].endswith('drills.json"')
        file = SimpleUploadedFile("drills.json", out.content)
        answer = coach_client.post(url("library_import"), {"file": file}, follow=True)
        assert "0 new drills, 0 changed." in text(answer)

    @pytest.mark.parametrize(
        ("content", "sentence"),
        [
            (b"not json", "This is not a drill file."),
            (b"\xff\xfe", "This is not a drill file."),
            (b'{"schema": 2, "drills": []}', "Drill"),
            (b'{"schema": 1, "drills": [7]}', "Drill 0"),
            (None, "Choose a file first."),
        ],
    )
    def test_a_bad_file_is_one_sentence(self, coach_client, student, content, sentence):
        file = {} if content is None else {"file": SimpleUploadedFile("d.json", content)}
        answer = coach_client.post(url("library_import"), file, follow=True)
        assert sentence in text(answer)
        assert not Drill.objects.exists()


class TestOneMeaning:
    """Mark, sentence, suggestion and count of one clip are the same on both pages."""

    def test_close_is_close_to_student_and_coach(self, coach_client, student_client, review):
        attempt = open_attempt(make_assignment(review=review))
        send_film(attempt, (52, 4), (39, 4), (20, 4))
        page = text(coach_client.get(url("judge", attempt)))
        read = re.findall(r"° ± 8: ([a-z ]+)<", page)
        assert read == ["counted", "close", "did not count"]
        assert "One counted, one was close." in page
        attempt.step.assignment.ask_feel_first = False
        attempt.step.assignment.save()
        page = text(student_client.get(url("drill", attempt.step.assignment)))
        assert re.findall(r"° ± 8: ([a-z ]+)<", page) == read
        assert "One counted, one was close; your coach decides." in page

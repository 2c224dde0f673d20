"""The catalogue is sound, says where it comes from, and a studio's changes lie over it."""

from __future__ import annotations

import re

import pytest

from coaching.diagnosis.catalogue import (
    COMMON,
    ELSEWHERE,
    FOLDED,
    Change,
    adapted,
    parse,
    whole,
)
from coaching.diagnosis.causes import BALL, COMPENSATION, QUESTION
from coaching.diagnosis.entries import matched, search
from coaching.people.sides import for_student, sided
from coaching.practice import drills
from tests.benchmarks.acted import WANTED
from tests.benchmarks.bench_diagnosis import covered, without_use

ENTRIES = whole().entries
HEAD = '[[entry]]\nid = "a"\nname = "A"\nstage = "setup"\nview = "face_on"\nclause = "a is"\n'


class TestData:
    def test_what_a_student_reads_names_no_lead_or_trail(self):
        for entry in ENTRIES:
            for hand in ("right", "left"):
                text = f"{sided(entry.clause, hand)} {sided(entry.question, hand)}"
                assert not re.search(r"\b(lead|trail)\b|[{}]", text), entry.id

    def test_no_side_is_written_where_the_hand_decides(self):
        for entry in ENTRIES:
            text = " ".join([entry.name, entry.clause, entry.question, *entry.also])
            assert not re.search(r"\b(left|right)\b", text), entry.id

    def test_every_clause_joins_with_because(self):
        for entry in ENTRIES:
            assert entry.clause[0] in "abcdefghijklmnopqrstuvwxyz{", entry.id
            assert entry.clause[-1] not in ".;,?!", entry.id
            assert entry.clause.split()[0] in {"you", "your", "the"}, entry.id
            assert len(entry.clause) <= 120, entry.id

    def test_every_entry_names_its_source(self):
        for entry in ENTRIES:
            assert COMMON in entry.source.lower() or re.search(r"\d{4}", entry.source), entry.id

    def test_a_compensation_names_what_it_makes_up_for(self):
        for entry in ENTRIES:
            if entry.kind == COMPENSATION:
                assert any(c.kind == "cause" for c in whole().causes_of(entry.id)), entry.id

    def test_what_can_be_worked_on_has_a_drill_of_the_library(self):
        slugs = {row["slug"] for row in drills.starter()}
        for entry in ENTRIES:
            if entry.kind in ("cause", "compensation"):
                assert entry.drills and set(entry.drills) <= slugs, entry.id

    def test_what_the_ball_does_is_the_end_of_a_chain(self):
        for entry in ENTRIES:
            if entry.kind == BALL:
                assert entry.causes and not whole().effects_of(entry.id), entry.id

    def test_every_region_asked_about_has_its_question(self):
        for entry in ENTRIES:
            for region in entry.ask:
                question = whole().question_about(region)
                assert question is not None and question.kind == QUESTION, entry.id

    def test_what_one_phone_cannot_see_is_said(self):
        for id in ("face-open-at-impact", "path-out-to-in", "low-point-behind", "laid-off"):
            entry = whole().get(id)
            assert entry is not None and not entry.shows and entry.by_eye.endswith(".")

    def test_the_faults_a_coach_sees_most_are_all_covered(self):
        assert set(WANTED) - set(covered()) == set()
        assert len(WANTED) >= 21

    def test_no_figure_is_measured_for_nothing(self):
        assert without_use() == set()
        assert not FOLDED & ELSEWHERE


class TestReading:
    @pytest.mark.parametrize(
        ("text", "wrong"),
        [
            ('kind = "fault"', "no kind fault"),
            ('kind = "question"\nby_eye = "x"', "needs its words"),
            ('kind = "cause"\nby_eye = "x"\ncauses = ["b"]', "no entry b"),
            ('kind = "cause"\nby_eye = "x"\nask = ["ear"]', "no region ear"),
            ('kind = "cause"', "a figure, or why"),
            ('kind = "cause"\ncolour = "red"', "colour"),
            ('kind = "cause"\nshows = [{ figure = "balance_pct@top", at_most = 1 }]', "not meas"),
            ('kind = "cause"\nshows = [{ figure = "balance_pct@address" }]', "needs at_least"),
            (
                'kind = "cause"\n'
                'shows = [{ figure = "balance_pct@address", at_most = { iron = 1 } }]',
                "names each of",
            ),
            (
                'kind = "cause"\nshows = [{ figure = "balance_pct@address", below = 1 }]',
                "has no below",
            ),
            ('kind = "cause"\nby_eye = "x"\n' + HEAD + 'kind = "cause"\nby_eye = "x"', "twice"),
        ],
    )
    def test_a_bad_entry_is_named(self, text, wrong):
        with pytest.raises(ValueError, match=f"a: .*{wrong}"):
            parse(HEAD + text)

    def test_causes_never_run_in_a_circle(self):
        other = HEAD.replace('"a"', '"b"', 1)
        text = HEAD + 'kind = "cause"\nby_eye = "x"\ncauses = ["b"]\n'
        text += other + 'kind = "cause"\nby_eye = "x"\ncauses = ["a"]\n'
        with pytest.raises(ValueError, match="circle"):
            parse(text)


class TestAStudio:
    def test_words_limits_and_hiding(self):
        change = Change(
            "little-hip-turn",
            name="Short hips",
            clause="your hips stop early",
            limits={"pelvis_turn_deg@top": {"at_most": 30.0}},
        )
        changed = adapted(whole(), [change, Change("scoop", is_hidden=True)])
        entry = changed.get("little-hip-turn")
        assert (entry.name, entry.clause) == ("Short hips", "your hips stop early")
        assert entry.shows[0].at_most["iron"] == 30.0
        assert entry.shows[0].was.at_most["iron"] == 34.0
        assert entry.shows[1].was is None
        assert "scoop" not in {e.id for e in changed.shown}
        assert changed.get("scoop") is not None  # findings that name it keep their links

    def test_an_entry_of_its_own_comes_last_with_its_links(self):
        own = {"stage": "back", "view": "face_on", "kind": "cause", "causes": ["little-hip-turn"]}
        changed = adapted(whole(), [Change("own-1", "Flying elbow", "your elbow flies", own=own)])
        entry = changed.entries[-1]
        assert entry.is_own and entry.name == "Flying elbow"
        assert entry in changed.effects_of("little-hip-turn")


class TestFinding:
    @pytest.mark.parametrize(
        ("typed", "first"),
        [("ear", "early-extension"), ("cast", "early-release"), ("over t", "over-the-top")],
    )
    def test_three_letters_find_names_and_golfers_words(self, typed, first):
        assert search(whole(), typed, "right")[0].id == first

    def test_golfers_say_sides_by_their_hand(self):
        right = [entry.id for entry in search(whole(), "curves right", "right")]
        left = [entry.id for entry in search(whole(), "curves right", "left")]
        assert "ball-straight-trail" in right and "ball-straight-trail" not in left
        assert "ball-straight-lead" in left

    def test_nothing_typed_lists_everything_and_nonsense_nothing(self):
        assert len(search(whole(), "", "right")) == len(whole().shown)
        assert search(whole(), "xqz", "right") == []

    @pytest.mark.parametrize(
        ("typed", "meant"),
        [
            ("Early extension", "early-extension"),
            ("your hips barely turn in the backswing.", "little-hip-turn"),
            ("Your left arm bends at the top", "lead-arm-bends"),
            ("you look happy today", None),
            ("", None),
        ],
    )
    def test_free_words_are_matched_or_stay_free(self, typed, meant):
        found = matched(whole(), typed, "right")
        assert (found.id if found else None) == meant

    def test_typed_sides_are_put_right_for_the_student(self):
        said = "your lead arm bends and you lead with the trail side"
        assert for_student(said, "right") == "your left arm bends and you lead with the right side"
        assert for_student(said, "left").startswith("your right arm")

"""Drills as files: the schema, what it cannot say, and the starter library."""

from __future__ import annotations

import copy
import json
import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from coaching.diagnosis.catalogue import COMMON, whole
from coaching.people.errors import LessonError
from coaching.people.models import Region
from coaching.practice import drills
from coaching.practice.models import Drill
from tests import factories
from tests.coaching.practice.making import TURN_RUNG

ONE = {
    "slug": "one",
    "title": "One",
    "purpose": "To turn.",
    "instructions": [{"text": "Turn."}],
    "cautions": "Stop if it hurts.",
    "source": "mine",
    "ladder": [TURN_RUNG],
}


def read(**changes):
    return drills.read(json.dumps({"schema": 1, "drills": [copy.deepcopy(ONE) | changes]}))


class TestReading:
    def test_a_good_file(self):
        assert read()[0]["slug"] == "one"

    @pytest.mark.parametrize(
        ("changes", "named"),
        [
            ({"slug": "One Two"}, "slug"),
            ({"colour": "red"}, "colour"),
            ({"instructions": []}, "instructions"),
            ({"loads": ["soul"]}, "loads"),
            ({"ladder": []}, "ladder"),
            ({"ladder": [TURN_RUNG | {"repetitions": 11}]}, r"ladder\.1\.repetitions"),
            ({"ladder": [TURN_RUNG | {"need": 4}]}, "step 1"),
            ({"ladder": [TURN_RUNG | {"film_kind": "setup"}]}, "not measured in this angle"),
            (
                {
                    "ladder": [
                        TURN_RUNG
                        | {
                            "criteria": [
                                {
                                    "comparison": "between",
                                    "measure": "pelvis_turn_deg",
                                    "event": "top",
                                    "low": 45,
                                    "high": 40,
                                }
                            ]
                        }
                    ]
                },
                "lower end",
            ),
        ],
    )
    def test_what_is_wrong_is_named_with_its_place(self, changes, named):
        with pytest.raises(LessonError) as told:
            read(**changes)
        assert re.search(named, told.value.sentence)

    def test_the_same_drill_twice(self):
        with pytest.raises(LessonError, match="twice"):
            drills.read(json.dumps({"schema": 1, "drills": [ONE, ONE]}))


class TestTheStarterLibrary:
    rows = drills.starter()

    def test_there_are_enough(self):
        assert len(self.rows) >= 24

    def test_every_drill_treats_something_that_can_be_found(self):
        known = {entry.id for entry in whole().entries} | {"transfer"}
        for row in self.rows:
            assert row["cause"] in known, row["slug"]

    def test_a_club_on_the_chest_is_asked_for_there(self):
        held = {
            row["slug"]: step.get("bar_across", "hips")
            for row in self.rows
            for step in row["ladder"]
            if step["film_kind"] == "bar"
        }
        assert held["turn-with-a-club-on-the-chest"] == "chest"
        assert held["turn-with-a-club-on-the-hips"] == "hips"

    def test_every_drill_says_how_to_stop_and_where_it_comes_from(self):
        for row in self.rows:
            assert ("It hurts" in row["cautions"]) == bool(row["loads"]), row["slug"]
            assert COMMON in row["source"] or re.search(r"\d{4}", row["source"]), row["slug"]

    def test_a_drill_that_loads_something_says_who_should_not_do_it(self):
        for row in self.rows:
            if {"hip", "back"} <= set(row["loads"]) and row["ladder"][0]["film_kind"] != "swing":
                assert row["not_for"] or row["slug"] == "random-clubs", row["slug"]

    def test_words_name_no_side(self):
        for row in self.rows:
            text = json.dumps({k: v for k, v in row.items() if k != "ladder"})
            assert not re.search(r"\b(left|right) (hand|foot|hip|knee|arm|side)", text), row["slug"]

    def test_regions_are_those_of_the_body_map(self):
        for row in self.rows:
            assert set(row["loads"]) <= set(Region.values), row["slug"]

    def test_early_steps_never_ask_for_less_than_the_last(self):
        for row in self.rows:
            last = {(c.get("measure"), c.get("event")): c for c in row["ladder"][-1]["criteria"]}
            for step in row["ladder"][:-1]:
                for c in step["criteria"]:
                    final = last.get((c.get("measure"), c.get("event")))
                    if final is None or final["comparison"] != c["comparison"]:
                        continue
                    if c["comparison"] == "at_least":
                        assert c["low"] >= final["low"], row["slug"]
                    if c["comparison"] == "at_most":
                        assert c["high"] <= final["high"], row["slug"]


@pytest.mark.django_db
class TestTheCommand:
    def test_starter_export_import(self, tmp_path):
        studio, other = factories.make_studio(), factories.make_studio()
        call_command("drills", "starter", studio=studio.slug, stdout=StringIO())
        file = tmp_path / "drills.json"
        call_command("drills", "export", str(file), studio=studio.slug)
        out = StringIO()
        call_command("drills", "import", str(file), studio=other.slug, stdout=out)
        assert out.getvalue().startswith("47 made")
        assert Drill.objects.filter(studio=other).count() == 47

    def test_refusals(self, tmp_path):
        studio = factories.make_studio()
        bad = tmp_path / "bad.json"
        bad.write_text("{")
        for arguments in (["import"], ["import", str(bad)], ["import", str(tmp_path / "no")]):
            with pytest.raises(CommandError):
                call_command("drills", *arguments, studio=studio.slug)
        with pytest.raises(CommandError, match="no studio"):
            call_command("drills", "export", studio="nowhere")

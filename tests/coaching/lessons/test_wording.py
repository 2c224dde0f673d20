"""Every number and code has its words, and they read as people speak."""

from __future__ import annotations

import ast

import pytest
from django.conf import settings

from analysis import errors
from analysis.core.measures import MEASURES
from analysis.core.pose import EVENTS, KINDS, VIEWS
from coaching.lessons.wording import amounts, deadlines, naming
from coaching.lessons.wording import codes as sentences

QUALITY_CODES = (
    "unreadable too_short too_long nobody several_people body_cut too_small too_dark blurred "
    "low_rate camera_moves wrong_view wrong_hand no_swing fewer_swings off_line slow_motion "
    "view_not_measured sideways"
)


def test_every_measure_has_a_name_and_a_meaning() -> None:
    assert {m.id for m in MEASURES} == set(naming.MEASURES)


@pytest.mark.parametrize("measure", sorted({m.id for m in MEASURES}))
def test_unit_from_the_name_is_the_stored_one(measure: str) -> None:
    stored = {m.unit for m in MEASURES if m.id == measure}
    assert stored == {amounts.unit_of(measure)}


def test_every_event_view_and_kind_has_words() -> None:
    assert set(naming.EVENTS) == set(EVENTS)
    assert set(naming.VIEWS) == set(VIEWS)
    assert set(naming.KINDS) == set(KINDS)


@pytest.mark.parametrize("code", QUALITY_CODES.split(" "))
def test_every_quality_code_says_what_was_seen_and_what_to_do(code: str) -> None:
    told = sentences.QUALITY[code]
    for sentence in (str(told.seen), str(told.do)):
        assert sentence[0].isupper() and sentence.endswith(".")
        # Kind and plain to a student, as the house speaks.
        assert not {"error", "invalid", "failed", "!"} & set(sentence.lower().split())


@pytest.mark.parametrize("code", QUALITY_CODES.split(" "))
def test_a_clip_that_is_used_is_not_asked_for_again(code: str) -> None:
    told = sentences.next_time(code)
    assert told.seen == sentences.QUALITY[code].seen
    # Whoever insists on a clip has any of these as a warning beside "Good to use".
    assert "again" not in str(told.do)
    if code not in ("unreadable", "too_short", "too_long"):  # no one can insist on these
        assert str(told.do).endswith(".")


def test_every_error_of_a_run_has_its_own_words() -> None:
    codes = {
        e.code
        for e in vars(errors).values()
        if isinstance(e, type) and e.__module__ == errors.__name__
    }
    assert codes | {"worker_lost"} <= set(sentences.RUN_ERRORS)


def test_every_reason_that_the_measuring_gives_has_words() -> None:
    given = {
        keyword.value.value
        for path in (settings.BASE_DIR / "analysis").rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text()))
        if isinstance(call, ast.Call)
        for keyword in call.keywords
        if keyword.arg == "reason" and isinstance(keyword.value, ast.Constant)
    } - {""}
    assert given and given <= set(sentences.REASONS)


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"value": 38.2, "uncertainty": 2.0, "measure": "pelvis_turn_deg", "event": "top"},
         "38° ± 4 at the top"),
        ({"value": -35.0, "uncertainty": 4.0, "measure": "pelvis_turn_deg", "event": "impact"},
         "open 35° ± 8 at impact"),
        ({"value": -0.2, "uncertainty": 2.0, "measure": "pelvis_turn_deg"}, "0° ± 4"),
        ({"value": -3.0, "uncertainty": 0.7, "measure": "hand_depth_cm"},
         "3 cm ± 1 short of the heel"),
        (
            {"value": -14.0, "uncertainty": 1.5, "measure": "trunk_tilt_change_deg"},
            "14° ± 3 of bend lost",
        ),
        (
            {"value": -1.0, "uncertainty": 1.0, "measure": "shaft_aim_deg"},
            "1° ± 2 inside the ball",
        ),
        ({"value": -0.2, "uncertainty": 1.0, "measure": "shaft_aim_deg"}, "0° ± 2"),
        ({"value": 2.34, "uncertainty": 0.2, "measure": "pelvis_rise_cm"}, "2.3 cm ± 0.4"),
        ({"value": 10.16, "uncertainty": 2.54, "measure": "hand_depth_cm", "imperial": True},
         "4 in ± 2"),
        ({"value": 0.81, "uncertainty": 0.02, "measure": "backswing_s"}, "0.81 s ± 0.04"),
        ({"value": 3.14, "uncertainty": 0.1, "measure": "tempo_ratio"}, "3.14 ± 0.20"),
        ({"value": 51.0, "uncertainty": 3.0, "measure": "balance_pct"}, "51 % ± 6"),
        ({"value": 8.0, "uncertainty": 0.4, "measure": "hand_speed_peak_m_s", "imperial": True},
         "18 mph ± 2"),
        ({"value": 38.0, "measure": "pelvis_turn_deg"}, "38°"),
    ],
)  # fmt: skip
def test_value_words(given: dict, text: str) -> None:
    assert amounts.value_words(**given) == text


@pytest.mark.parametrize(
    ("comparison", "given", "text"),
    [
        ("between", {"low": 40, "high": 45, "measure": "pelvis_turn_deg"}, "40–45°"),
        ("between", {"low": -40, "high": -30, "measure": "pelvis_turn_deg"}, "open 30–40°"),
        ("between", {"low": -5, "high": 10, "measure": "pelvis_turn_deg"}, "open 5° to 10°"),
        ("between", {"low": -2, "high": 3, "measure": "pelvis_rise_cm"},
         "between 2 cm lower and 3 cm higher"),
        ("at_most", {"high": -13, "measure": "shaft_past_level_deg"},
         "at least 13° short of level"),
        ("at_least", {"low": -2, "measure": "head_sway_cm"}, "at most 2 cm toward the target"),
        ("at_least", {"low": -9, "measure": "trunk_tilt_change_deg"}, "at most 9° of bend lost"),
        ("between", {"low": -11, "high": -3, "measure": "pelvis_sway_cm"},
         "3–11 cm toward the target"),
        ("between", {"low": -8, "high": 30, "measure": "ball_position_pct"},
         "between 8 % outside the lead heel and 30 % inside it"),
        ("between", {"low": 0, "high": 12, "measure": "shaft_aim_deg"}, "0–12°"),
        ("at_least", {"low": 38, "measure": "pelvis_turn_deg"}, "at least 38°"),
        ("at_most", {"high": -30, "measure": "pelvis_turn_deg"}, "open at least 30°"),
        ("at_least", {"low": -30, "measure": "pelvis_turn_deg"}, "open at most 30°"),
        ("at_most", {"high": 5.08, "measure": "hand_depth_cm", "imperial": True}, "at most 2 in"),
        ("changed_by", {"change": 9, "measure": "arm_hang_deg"}, "at least 9° more than before"),
        ("changed_by", {"change": -4, "measure": "pelvis_rise_cm"},
         "at least 4 cm less than before"),
        ("at_least", {"low": 2.5, "measure": "tempo_ratio"}, "at least 2.50"),
        ("self_test", {}, ""),
    ],
)  # fmt: skip
def test_band_words(comparison: str, given: dict, text: str) -> None:
    assert amounts.band_words(comparison, **given) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(3 * 86400, "3 days left"), (5 * 3600, "5 hours left"), (3600, "1 hour left"),
     (10 * 60, "10 minutes left"), (20, "1 minute left"), (-3 * 3600, "3 hours late")],
)  # fmt: skip
def test_time_left(seconds: float, text: str) -> None:
    assert deadlines.time_left_words(seconds) == text


def test_stature() -> None:
    assert amounts.stature_words(178.0) == "178 cm"
    assert amounts.stature_words(177.8, imperial=True) == "5 ft 10 in"
    assert amounts.stature_words(182.9, imperial=True) == "6 ft 0 in"
    assert amounts.stature_words(None) == ""

"""The picture of each measure: there is one, it prints the closed form, and shows it to scale."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from analysis import weights
from analysis.core import measures
from analysis.core.measures import MEASURES
from analysis.core.pose import JOINT
from analysis.drawings.__main__ import FOLDER
from analysis.drawings.golfer import EVENTS, SHOWN_ON, TIMES_S, bar_ends, body_of, swing
from analysis.drawings.pictures import PICTURES
from analysis.training import tables

NOTE = FOLDER.parents[1] / "docs" / "measurement.md"
FILM = swing()
CURVES = measures.body_curves(FILM.joints_m, FILM.time_s, address_s=0.0)
OF_TWO_MOMENTS = ("pelvis_to_ball_down_cm", "hands_path_cm")
BODY = [
    p for p in PICTURES if p.measure in (*CURVES, *OF_TWO_MOMENTS) and p.measure not in SHOWN_ON
]
# Angles in space: drawn across the view they look a few degrees larger or smaller.
IN_SPACE = {"knee_flex_deg": 3.0, "lead_elbow_deg": 6.0}


def file_of(measure: str) -> ElementTree.Element:
    return ElementTree.fromstring((FOLDER / f"{measure}.svg").read_text())


def of_class(tree: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [e for e in tree.iter() if name in e.get("class", "").split()]


def printed(tree: ElementTree.Element) -> float:
    (text,) = of_class(tree, "value")
    return float(re.match(r"[+−]?[\d.]+", text.text)[0].replace("−", "-"))


def points(element: ElementTree.Element) -> np.ndarray:
    found = re.findall(r"[ML](-?[\d.]+),(-?[\d.]+)", element.get("d"))
    return np.array(found, float)


def closed_form(measure: str, event: str) -> float:
    return measures.body_value(measure, event, CURVES, FILM.time_s, EVENTS)


def test_every_measure_has_its_picture() -> None:
    assert {p.measure for p in PICTURES} == {m.id for m in MEASURES}
    assert {path.stem for path in FOLDER.glob("*")} == {m.id for m in MEASURES}


def test_a_picture_shows_a_moment_and_view_of_its_measure() -> None:
    rows = {(m.id, m.event): m.views for m in MEASURES}
    for picture in PICTURES:
        views = rows[picture.measure, picture.event]
        assert picture.view in (*views, "above", "time"), picture.measure
        assert (picture.view == "above") == picture.measure.endswith(
            ("_turn_deg", "separation_deg", "shoulder_to_feet_deg")
        )


@pytest.mark.parametrize("picture", PICTURES, ids=lambda p: p.measure)
def test_drawing_again_gives_the_same_file(picture) -> None:
    assert (FOLDER / f"{picture.measure}.svg").read_text() == picture.svg()


@pytest.mark.parametrize("picture", BODY, ids=lambda p: p.measure)
def test_the_printed_number_is_the_closed_form(picture) -> None:
    told = closed_form(picture.measure, picture.event)
    places = 2 if picture.measure.endswith("_ratio") else 0
    assert printed(file_of(picture.measure)) == pytest.approx(told, abs=0.5001 * 10**-places)


def test_the_held_club_turns_as_its_ends_do() -> None:
    azimuths = []
    for event in ("address", "top"):
        lead, trail = bar_ends(FILM.at(event))
        azimuths.append(math.degrees(math.atan2(*(trail - lead)[1::-1])) % 360)
    assert printed(file_of("bar_turn_deg")) == pytest.approx(azimuths[1] - azimuths[0], abs=0.51)


def test_the_club_and_the_clock_print_what_their_definitions_give() -> None:
    down, struck = FILM.at("lead_arm_down"), FILM.at("impact")
    shaft = down.club_head - down["grip"]
    assert printed(file_of("shaft_pitch_deg")) == pytest.approx(
        math.degrees(math.atan2(shaft[2], -shaft[1])), abs=0.51
    )
    lean = struck["grip"] - struck.club_head
    assert printed(file_of("handle_lean_deg")) == pytest.approx(
        math.degrees(math.atan2(lean[0], lean[2])), abs=0.51
    )
    back, fore = TIMES_S["top"], TIMES_S["impact"] - TIMES_S["top"]
    assert printed(file_of("backswing_s")) == pytest.approx(back)
    assert printed(file_of("downswing_s")) == pytest.approx(fore)
    assert printed(file_of("tempo_ratio")) == pytest.approx(back / fore)
    grip = FILM.joints_m[FILM.time_s >= TIMES_S["top"], JOINT["grip"]]
    fastest = np.linalg.norm(np.diff(grip, axis=0), axis=1).max() * 200
    assert printed(file_of("hand_speed_peak_m_s")) == pytest.approx(fastest, rel=0.03)


@pytest.mark.parametrize(
    "measure", [p.measure for p in PICTURES if of_class(file_of(p.measure), "ray")]
)
def test_the_drawn_angle_is_the_printed_one(measure: str) -> None:
    tree = file_of(measure)
    was, now = (points(ray) for ray in of_class(tree, "ray"))
    assert was[0] == pytest.approx(now[0]), "both start at the vertex"
    a, b = (np.arctan2(*(line[1] - line[0])[::-1]) for line in (was, now))
    drawn = math.degrees((b - a + math.pi) % (2 * math.pi) - math.pi)
    assert abs(drawn) == pytest.approx(abs(printed(tree)), abs=IN_SPACE.get(measure, 0.9))
    if measure.endswith(("_turn_deg", "separation_deg")):
        assert drawn > 0, "a backswing turns clockwise, seen from above with the target at right"


@pytest.mark.parametrize(
    "measure",
    [p.measure for p in PICTURES if p.measure.endswith("_cm")],
)
def test_the_drawn_arrow_is_as_long_as_printed(measure: str) -> None:
    tree = file_of(measure)
    (span,) = of_class(tree, "span")
    line, tip = span
    step = points(tip)[0] - points(line)[0]
    across, down = 100 * step / float(tree.get("data-per-m"))
    assert math.hypot(across, down) == pytest.approx(abs(printed(tree)), abs=0.55)
    if "sway" in measure or "depth" in measure or "behind" in measure:
        assert across < 0, "away from the target, or from the ball, is left"
    elif "rise" in measure:
        assert down < 0
    else:
        assert across > 0, "toward the ball is right"


def test_what_is_shown_on_another_pose_prints_what_its_definition_gives() -> None:
    shaft = (b := body_of("shaft_past_level_deg", "top")).club_head - b["grip"]
    level = math.degrees(math.atan2(-shaft[2], shaft[0]))
    assert printed(file_of("shaft_past_level_deg")) == pytest.approx(level, abs=0.51)
    turned = body_of("shoulder_to_feet_deg", "address")
    line = turned["shoulder_trail"] - turned["shoulder_lead"]
    assert printed(file_of("shoulder_to_feet_deg")) == pytest.approx(
        math.degrees(math.atan2(line[1], line[0])) % 360 - 180, abs=0.51
    )
    pitches = [
        math.degrees(math.atan2(step[2], -step[1]))
        for body in (FILM.at("lead_arm_back"), body_of("steepening_deg", "lead_arm_down"))
        for step in [body.club_head - body["grip"]]
    ]
    assert printed(file_of("steepening_deg")) == pytest.approx(pitches[1] - pitches[0], abs=0.51)


def test_the_set_of_the_wrists_is_the_angle_between_forearm_and_shaft() -> None:
    """Against NumPy's arc cosine of the two lines across the view."""
    body = FILM.at("lead_arm_down")
    lines = body["wrist_lead"] - body["elbow_lead"], body.club_head - body["grip"]
    a, b = (v[[0, 2]] / np.linalg.norm(v[[0, 2]]) for v in lines)
    assert printed(file_of("wrist_set_deg")) == pytest.approx(
        math.degrees(math.acos(a @ b)), abs=0.51
    )


def test_ratios_and_shares_are_drawn_to_scale() -> None:
    spans = of_class(file_of("stance_ratio"), "span")
    widths = [abs(points(t)[0] - points(u)[0])[0] for _, t, u in (list(s) for s in spans)]
    assert widths[1] / widths[0] == pytest.approx(printed(file_of("stance_ratio")), abs=0.02)
    for measure in ("balance_pct", "balance_side_pct", "ball_position_pct"):
        tree = file_of(measure)
        zero, hundred = points(of_class(tree, "told")[0])
        dots = [float(d.get("cx")) for d in of_class(tree, "dot")]
        share = 100 * (dots[0] - zero[0]) / (hundred[0] - zero[0])
        assert share == pytest.approx(printed(tree), abs=0.8)


def test_pictures_read_by_day_and_by_night_and_stay_small() -> None:
    for picture in PICTURES:
        text = (FOLDER / f"{picture.measure}.svg").read_text()
        assert "prefers-color-scheme:dark" in text
        assert len(text) < 12_000
        assert "href" not in text


def test_the_note_shows_every_measure_with_its_picture() -> None:
    shown = re.findall(r'src="\.\./static/measures/(\w+)\.svg"', NOTE.read_text())
    assert sorted(shown) == sorted({m.id for m in MEASURES})


def test_the_notes_tables_are_those_of_the_weights() -> None:
    """`python -m analysis.training.tables --into docs/measurement.md` after a training."""
    note = NOTE.read_text()
    assert tables.renewed(note, weights.errors()) == note
    printed = set(re.findall(r"^\| `(\w+)` \| (\w+) \| (?:down|face)", note, re.M))
    archive = weights.errors()
    assert printed == set(zip(archive["measure"], archive["event"], strict=True))


def test_a_table_in_closed_form() -> None:
    """Told 1 too far on one swing of each body and 3 on the other."""
    rows = {
        "measure": np.repeat("pelvis_turn_deg", 4),
        "event": np.repeat("top", 4),
        "view": np.repeat("face_on", 4),
        "truth": np.array([40.0, 40, 50, 50]),
        "value": np.array([41.0, 43, 51, 53]),
        "u": np.full(4, 2.0),
        "body": np.array([1, 1, 2, 2]),
    }
    (line,) = tables.table(rows, ["pelvis_turn_deg"])[2:]
    spread = math.sqrt(4 / 3)  # of 1, 3, 1, 3 about 2, with n - 1
    cells = [cell.strip() for cell in line.strip("|").split("|")]
    assert cells[:8] == [
        "`pelvis_turn_deg`", "top", "face on", "4", f"{math.sqrt(5):.2f}°", "2.00", "+2.00",
        f"−{1.96 * spread - 2:.2f} to +{2 + 1.96 * spread:.2f}",
    ]  # fmt: skip
    assert cells[9] == f"{2 / math.sqrt(5):.2f}"

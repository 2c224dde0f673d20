"""Measures of the shaft against a club placed in space and seen by a known camera.

Signs as METRICS: pitch 90 vertical, more than 90 tipped toward the ball; aim positive
past the ball; lean positive with the grip toward the target.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.core.camera import Camera, camera_of, shaft_directions, usual_camera
from analysis.core.club import measure_club
from analysis.core.pose import JOINT, JOINTS, Capture, Moment, ShaftTrack
from tests.analysis.core.test_measures import figure

STATURE = 1.8
SIZE = (720, 1280)
TIME = np.arange(60) / 60


def camera(view, yaw=0.0, f=1000.0, distance=3.5):
    return usual_camera(
        view=view,
        size_px=SIZE,
        feet_px=np.array([330.0, 850.0]),
        stature_px=f * STATURE / distance,
        stature_m=STATURE,
        yaw_deg=yaw,
    )


def seen(cam: Camera, p):
    q = cam.rotation @ (np.asarray(p, float) - cam.position_m)
    return cam.centre_px + cam.f_px * q[:2] / q[2]


def club_of(cam: Camera, grip, head, ball):
    """A shaft that stays where it is, as a track, with a body that knows the camera."""
    g, h = seen(cam, grip), seen(cam, head)
    n = len(TIME)
    angle = np.degrees(np.arctan2(g[1] - h[1], h[0] - g[0]))
    track = ShaftTrack(
        TIME,
        np.arange(n),
        np.full(n, angle),
        np.full(n, 0.3),
        np.tile(g, (n, 1)),
        np.full(n, np.hypot(*(h - g))),
        np.tile(h, (n, 1)),
        seen(cam, ball),
        float("nan"),
    )
    body = SimpleNamespace(
        time_s=TIME,
        joints_px=np.tile(seen(cam, (0, 0, 0.08)), (n, len(JOINTS), 1)),
        scale_m_per_px=3.5 / 1000.0,
        camera={
            "f_px": cam.f_px,
            "R": cam.rotation,
            "t": -cam.rotation @ cam.position_m,
            "centre_px": cam.centre_px,
        },
        camera_yaw_deg=0.0,
        camera_yaw_sd_deg=1.0,
    )
    return track, body


def reading(view, event, grip, head, ball=(0.04, 0.8, 0.021), yaw=0.0):
    cam = camera(view, yaw)
    track, body = club_of(cam, grip, head, ball)
    events = {event: Moment(0.5, 0.004)} | {"address": Moment(0.5, 0.004)}
    capture = Capture(view, "swing", "right", 100 * STATURE)
    return measure_club(track, events, body, capture=capture)


@pytest.mark.parametrize("yaw", [0.0, 6.0])
def test_pitch_at_address_is_the_angle_in_space(yaw):
    pitch = np.radians(57.0)
    grip = np.array([0.0, 0.32, 0.76])
    head = grip + 0.9 * np.array([0.04, np.cos(pitch), -np.sin(pitch)])
    value, spread = reading("down_the_line", "address", grip, head, yaw=yaw)[
        "shaft_pitch_deg", "address"
    ]
    assert value == pytest.approx(57.0, abs=0.4)
    assert 0.5 < spread < 2.0


def test_a_shaft_up_and_away_points_where_its_line_meets_the_ground():
    grip = np.array([-0.29 * STATURE, 0.15, 1.3])
    pitch = np.radians(60.0)
    head = grip + 0.9 * np.array([0.0, -np.cos(pitch), np.sin(pitch)])
    ball = np.array([0.036, 0.8, 0.021])
    found = reading("down_the_line", "lead_arm_back", grip, head, ball)
    assert found["shaft_pitch_deg", "lead_arm_back"][0] == pytest.approx(60.0, abs=0.5)
    meets = grip[1] + grip[2] / np.tan(pitch)
    cm = found["shaft_aim_cm", "lead_arm_back"]
    assert cm[0] == pytest.approx(100 * (meets - 0.8), abs=2.5)
    aim = 30.0 - np.degrees(np.arctan2(0.8 - 0.15, 1.3 - 0.021))
    assert found["shaft_aim_deg", "lead_arm_back"][0] == pytest.approx(aim, abs=0.8)


def test_a_shaft_near_level_has_a_pitch_but_no_aim():
    grip = np.array([-0.25 * STATURE, 0.2, 1.1])
    head = grip + 0.9 * np.array([0.2, -0.9, 0.2])
    found = reading("down_the_line", "transition", grip, head)
    assert not isinstance(found["shaft_pitch_deg", "transition"], str)
    assert found["shaft_aim_deg", "transition"] == "shaft_level"


@pytest.mark.parametrize("yaw", [-5.0, 0.0, 5.0])
def test_handle_lean_is_positive_toward_the_target_whatever_the_yaw(yaw):
    grip = np.array([0.03, 0.32, 0.76])
    head = grip + 0.9 * np.array([-0.1, 0.51, -0.85])
    value, _ = reading("face_on", "address", grip, head, yaw=yaw)["handle_lean_deg", "address"]
    assert value == pytest.approx(np.degrees(np.arctan2(0.1, 0.85)), abs=1.0)


def lean_at_impact(*, u=0.004, turned_deg=0.0, ball=True, head_seen=True):
    cam = camera("face_on")
    grip, head = np.array([0.1, 0.32, 0.76]), np.array([0.0, 0.78, 0.02])
    track, body = club_of(cam, grip, head, head)
    after = TIME > 0.5
    angle = track.angle_deg + np.where(after, turned_deg, 0.0)
    none = np.full(2, np.nan)
    track = replace(track, angle_deg=angle, ball_px=track.ball_px if ball else none)
    track = track if head_seen else replace(track, head_px=track.head_px * np.nan)
    events = {"address": Moment(0.2, 0.01), "top": Moment(0.5, 0.01), "impact": Moment(0.75, u)}
    capture = Capture("face_on", "swing", "right", 180)
    return measure_club(track, events, body, capture=capture)["handle_lean_deg", "impact"]


def test_handle_lean_at_impact_is_read_from_the_ball_and_less_sure_without_one():
    value, spread = lean_at_impact()
    assert value == pytest.approx(np.degrees(np.arctan2(0.1, 0.74)), abs=1.5)
    assert lean_at_impact(ball=False)[1] > spread
    unseen_head = lean_at_impact(head_seen=False)
    assert unseen_head[0] == pytest.approx(value, abs=1.5)
    assert unseen_head[1] > spread
    assert lean_at_impact(ball=False, head_seen=False) == "not_seen"


def test_handle_lean_at_impact_is_absent_where_hands_tell_when_or_shaft_and_ball_disagree():
    assert lean_at_impact(u=0.02) == "not_seen"
    assert lean_at_impact(turned_deg=18.0) == "not_seen"


def test_an_event_far_from_any_sighting_is_end_on_and_no_event_keeps_its_reason():
    cam = camera("down_the_line")
    track, body = club_of(cam, (0, 0.3, 0.8), (0, 0.8, 0.0), (0, 0.8, 0.0))
    angle = np.where(abs(TIME - 0.5) < 0.1, np.nan, track.angle_deg)
    gap = type(track)(**{**vars(track), "angle_deg": angle})
    events = {"lead_arm_back": Moment(0.5, 0.01), "late_back": Moment(None, reason="not_reached")}
    capture = Capture("down_the_line", "swing", "right", 180)
    found = measure_club(gap, events, body, capture=capture)
    assert found["shaft_pitch_deg", "lead_arm_back"] == "shaft_end_on"
    assert found["shaft_pitch_deg", "late_back"] == "not_reached"


def test_an_uncertain_moment_of_a_turning_shaft_makes_its_angle_uncertain():
    cam = camera("down_the_line")
    track, body = club_of(cam, (-0.5, 0.1, 1.3), (-0.5, -0.3, 2.1), (0, 0.8, 0.0))
    turning = type(track)(**{**vars(track), "angle_deg": track.angle_deg + 300 * (TIME - 0.5)})
    capture = Capture("down_the_line", "swing", "right", 180)
    spreads = []
    for u in (0.0, 0.02):
        events = {"lead_arm_back": Moment(0.5, u), "address": Moment(0.1, 0.01)}
        found = measure_club(turning, events, body, capture=capture)
        spreads.append(found["shaft_pitch_deg", "lead_arm_back"][1])
    assert spreads[1] ** 2 - spreads[0] ** 2 == pytest.approx((300 * 0.02) ** 2, rel=0.15)


@pytest.mark.parametrize("along", [0.6, 0.75, 0.85])
def test_a_shaft_that_points_away_is_read_from_how_long_it_looks(along):
    """Above the camera and beside it, where perspective bends the picture's angle most."""
    grip = np.array([-0.41, 0.11, 1.5])
    across = np.sqrt(1 - along**2)
    pitch = np.radians(40.0)
    head = grip + 0.9 * np.array([along, -across * np.cos(pitch), across * np.sin(pitch)])
    cam = camera("down_the_line")
    track, body = club_of(cam, grip, head, (0.04, 0.8, 0.021))
    capture = Capture("down_the_line", "swing", "right", 100 * STATURE, club_cm=104)
    found = measure_club(track, {"late_back": Moment(0.5, 0.004)}, body, capture=capture)
    value, spread = found["shaft_pitch_deg", "late_back"]
    picture = 180 - track.angle_deg[0] % 180
    assert abs(value - 40.0) < 3.0 < abs(picture - 40.0)
    assert abs(value - 40.0) < 2 * spread


def test_a_shaft_that_may_be_end_on_within_the_doubt_of_its_moment_is_not_read():
    cam = camera("down_the_line")
    track, body = club_of(cam, (-0.41, 0.1, 1.4), (0.0, -0.2, 1.7), (0, 0.8, 0.0))
    shrinking = type(track)(
        **{**vars(track), "length_px": np.maximum(120.0 - 2500 * (TIME - 0.5), 20.0)}
    )
    capture = Capture("down_the_line", "swing", "right", 180)
    found = [
        measure_club(shrinking, {"late_back": Moment(0.5, u)}, body, capture=capture)[
            "shaft_pitch_deg", "late_back"
        ]
        for u in (0.005, 0.03)
    ]
    assert not isinstance(found[0], str)
    assert found[1] == "shaft_end_on"


def test_a_ball_farther_out_is_not_taken_for_one_farther_back():
    """By a camera off the line its distance shifts it sideways: told apart on the ground."""
    cam = camera("face_on", yaw=6.0)
    heels = {"heel_lead": (0.25, -0.045, 0.02), "heel_trail": (-0.25, -0.045, 0.02)}
    capture = Capture("face_on", "swing", "right", 100 * STATURE)
    values = []
    for ball_y in (0.65, 0.95):
        ball = (0.05, ball_y, 0.021)
        track, body = club_of(cam, (0.02, 0.32, 0.76), ball, ball)
        for name, place in heels.items():
            body.joints_px[:, JOINT[name]] = seen(cam, place)
        found = measure_club(track, {"address": Moment(0.5, 0.004)}, body, capture=capture)
        value, spread = found["ball_position_pct", "address"]
        assert abs(value - 40.0) < min(spread, 5.0)
        values.append(value)
    seen_apart = 100 * 0.3 * np.tan(np.radians(6.0)) / 0.5
    assert abs(values[1] - values[0]) < 0.65 * seen_apart


def test_the_surroundings_tell_the_roll_and_a_guess_only_its_sure_part():
    body = SimpleNamespace(
        time_s=TIME,
        joints_px=np.full((len(TIME), len(JOINTS), 2), 400.0),
        scale_m_per_px=0.0035,
        camera={"size_px": SIZE, "roll_deg": 0.8},
    )
    capture = Capture("down_the_line", "swing", "right", 180)
    upright = np.array([0.0, 0.0, 1.0])

    def lean(camera_facts):
        body.camera = {"size_px": SIZE, **camera_facts}
        cam = camera_of(body, {}, capture, 500.0)
        up = cam.rotation @ upright
        return np.degrees(np.arctan2(up[0], -up[1])), cam.roll_sd_deg

    guessed, told = lean({"roll_deg": 0.8}), lean({"roll_deg": 0.8, "lean": (0.8, 0.4)})
    assert guessed[0] == pytest.approx(0.0, abs=0.05)
    assert told[0] == pytest.approx(0.8, abs=0.05)
    assert told[1] < guessed[1]


def test_directions_lie_on_the_line_and_there_is_none_where_it_cannot_lie_so_deep():
    cam = camera("down_the_line")
    grip, true = np.array([-0.4, 0.2, 1.4]), np.array([0.8, -0.48, 0.36])
    g, h = seen(cam, grip), seen(cam, grip + 0.9 * true)
    angle = np.degrees(np.arctan2(g[1] - h[1], h[0] - g[0]))
    found = shaft_directions(cam, g, angle, np.array([0.8, 0.9999]), 0)
    assert found[0] == pytest.approx(true, abs=1e-9)
    assert np.isnan(found[1, 1:]).all()


def test_hand_speed_is_that_of_the_grip_across_the_view():
    n = len(TIME)
    moving = np.stack([np.full(n, 300.0), 300.0 + 571.4 * TIME], axis=1)
    nothing = np.full(n, np.nan)
    track = ShaftTrack(
        TIME, np.arange(n), nothing, nothing, moving, nothing,
        np.full((n, 2), np.nan), np.full(2, np.nan), float("nan"),
    )  # fmt: skip
    body = SimpleNamespace(scale_m_per_px=0.0035)
    events = {"top": Moment(0.2, 0.01), "impact": Moment(0.6, 0.01)}
    capture = Capture("face_on", "swing", "right", 180)
    value, spread = measure_club(track, events, body, capture=capture)[
        "hand_speed_peak_m_s", "impact"
    ]
    assert value == pytest.approx(2.0 * 1.04, rel=0.01)
    assert spread > 0.1


def face_on_with_arm(event, forearm, shaft, *, sd_m=0.01, rate=0.0, u=0.004):
    """Lead elbow, wrist and a shaft placed in space, seen face on; directions as (x, y, z)."""
    cam = camera("face_on")
    wrist = np.array([-0.29, 0.2, 1.25]) * np.array([STATURE / 1.0, 1, 1])
    grip = wrist + 0.07 * np.asarray(forearm, float)
    track, body = club_of(cam, grip, grip + 0.9 * np.asarray(shaft, float), (0.0, 0.8, 0.021))
    if rate:
        turning = track.angle_deg + rate * (TIME - 0.5)
        track = type(track)(**{**vars(track), "angle_deg": turning})
    joints = np.tile(figure(), (len(TIME), 1, 1))
    joints[:, JOINT["wrist_lead"]] = wrist
    joints[:, JOINT["elbow_lead"]] = wrist - 0.25 * np.asarray(forearm, float)
    body.joints_m, body.joints_sd_m = joints, np.full(joints.shape[:2], sd_m)
    events = {event: Moment(0.5, u), "address": Moment(0.5, u)}
    capture = Capture("face_on", "swing", "right", 100 * STATURE, club_cm=104)
    return measure_club(track, events, body, capture=capture)


def across(x, z, y=0.0):
    rest = np.sqrt(1 - y**2) / np.hypot(x, z)
    return (x * rest, y, z * rest)


@pytest.mark.parametrize(("event", "forearm", "shaft", "angle"), [
    ("lead_arm_back", across(-1, 0), across(0.0, 1.0, -0.5), 90.0),
    ("lead_arm_back", across(-1, 0), across(-1.0, 0.0, -0.5), 0.0),
    ("lead_arm_down", across(-1, 0), across(0.342, 0.940, -0.6), 110.0),
    ("top", across(-1, 1), across(1, 0, -0.2), 135.0),
    ("delivery", across(-1, -1), across(-1, 0), 45.0),
])  # fmt: skip
def test_the_set_of_the_wrists_is_the_angle_across_the_view(event, forearm, shaft, angle):
    value, spread = face_on_with_arm(event, forearm, shaft)["wrist_set_deg", event]
    assert value == pytest.approx(angle, abs=3.0)
    assert 1.0 < spread < 9.0


def test_the_set_is_less_sure_where_the_joints_are_and_absent_where_the_arm_points_at_the_camera():
    event, forearm, shaft = "lead_arm_back", across(-1, 0), across(0.0, 1.0, -0.5)
    sure = face_on_with_arm(event, forearm, shaft)["wrist_set_deg", event][1]
    loose = face_on_with_arm(event, forearm, shaft, sd_m=0.03)["wrist_set_deg", event][1]
    assert loose > 1.8 * sure
    hidden = face_on_with_arm(event, (-0.2, 0.98, 0.0), shaft)["wrist_set_deg", event]
    assert hidden == "arm_end_on"
    cam = camera("face_on")
    track, body = club_of(cam, (-0.5, 0.2, 1.2), (-0.5, -0.2, 2.0), (0, 0.8, 0))
    capture = Capture("face_on", "swing", "right", 180)
    found = measure_club(track, {event: Moment(0.5, 0.004)}, body, capture=capture)
    assert found["wrist_set_deg", event] == "not_seen"


def test_at_delivery_the_shaft_is_level_whenever_that_was():
    """Its turning is no part of the doubt there; at the arm's events it is."""
    forearm, shaft = across(-1, -1), across(-1, 0)
    spreads = [
        face_on_with_arm("delivery", forearm, shaft, rate=900.0, u=u)["wrist_set_deg", "delivery"][
            1
        ]
        for u in (0.0, 0.02)
    ]
    assert spreads[1] == pytest.approx(spreads[0], rel=0.05)
    moving = [
        face_on_with_arm("lead_arm_down", across(-1, 0), across(0, 1, -0.5), rate=900.0, u=u)[
            "wrist_set_deg", "lead_arm_down"
        ][1]
        for u in (0.0, 0.02)
    ]
    assert moving[1] ** 2 - moving[0] ** 2 == pytest.approx(18**2, rel=0.2)


@pytest.mark.parametrize(("shaft", "angle"), [
    (across(1, -0.2, -0.2), np.degrees(np.arctan(0.2))), (across(1, 0, -0.2), 0.0),
    (across(1, 1, -0.2), -45.0),
])  # fmt: skip
def test_a_shaft_past_level_at_the_top_is_positive(shaft, angle):
    value, _ = face_on_with_arm("top", across(-1, 1), shaft)["shaft_past_level_deg", "top"]
    assert value == pytest.approx(angle, abs=2.0)


def test_steepening_is_the_pitch_down_minus_the_pitch_back_and_the_camera_cancels():
    cam = camera("down_the_line")
    tracks = []
    for degrees in (55.0, 70.0):
        grip = np.array([-0.29 * STATURE, 0.15, 1.3])
        a = np.radians(degrees)
        head = grip + 0.9 * np.array([0.0, -np.cos(a), np.sin(a)])
        tracks.append(club_of(cam, grip, head, (0.04, 0.8, 0.021)))
    first, body = tracks[0]
    second = tracks[1][0]
    late = (TIME > 0.5)[:, None]
    mixed = type(first)(
        **{
            **vars(first),
            **{
                name: np.where(late[:, 0] if getattr(first, name).ndim == 1 else late,
                               getattr(second, name), getattr(first, name))
                for name in ("angle_deg", "grip_px", "head_px", "length_px")
            },
        }
    )  # fmt: skip
    capture = Capture("down_the_line", "swing", "right", 100 * STATURE)
    events = {
        "address": Moment(0.05, 0.004),
        "lead_arm_back": Moment(0.2, 0.0),
        "lead_arm_down": Moment(0.8, 0.0),
    }
    found = measure_club(mixed, events, body, capture=capture)
    back, down = (found["shaft_pitch_deg", e] for e in ("lead_arm_back", "lead_arm_down"))
    value, spread = found["steepening_deg", "lead_arm_down"]
    assert value == pytest.approx(15.0, abs=0.6)
    assert value == pytest.approx(down[0] - back[0], abs=1e-9)
    assert spread < np.hypot(back[1], down[1])
    without = dict(events) | {"lead_arm_back": Moment(None, reason="not_reached")}
    gone = measure_club(mixed, without, body, capture=capture)
    assert gone["steepening_deg", "lead_arm_down"] == "not_reached"


@pytest.mark.parametrize("yaw", [-5.0, 0.0, 5.0])
def test_the_ball_from_the_toes_is_a_distance_on_the_ground(yaw):
    cam = camera("down_the_line", yaw=yaw)
    track, body = club_of(cam, (0, 0.32, 0.76), (0.036, 0.8, 0.02), (0.036, 0.8, 0.021))
    for side, x in (("lead", 0.2), ("trail", -0.2)):
        body.joints_px[:, JOINT[f"toe_{side}"]] = seen(cam, (x, 0.2, 0.02))
    capture = Capture("down_the_line", "setup", "right", 100 * STATURE)
    events = {"address": Moment(0.5, 0.004)}
    value, spread = measure_club(track, events, body, capture=capture)[
        "ball_distance_cm", "address"
    ]
    assert value == pytest.approx(60.0, abs=1.5)
    assert 1.0 < spread < 5.0
    none = type(track)(**{**vars(track), "ball_px": np.full(2, np.nan),
                          "head_px": np.full((len(TIME), 2), np.nan)})  # fmt: skip
    found = measure_club(none, events, body, capture=capture)
    assert found["ball_distance_cm", "address"] == "no_ball"

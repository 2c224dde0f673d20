"""The vote, the fit and the path through time on lines drawn as points."""

import numpy as np
import pytest

from analysis.core.line import Candidate, Ridge, choose_path, keep_stretches, vote

STATURE = 500.0


def ridge_of(*rays, noise=0.0, clutter=0, seed=0):
    """Points of rays (angle, offset, from, to) around the grip, with random clutter."""
    rng = np.random.default_rng(seed)
    right, up, along = [], [], []
    for angle, offset, near, far in rays:
        u = np.radians(angle)
        s = np.arange(near, far)
        across = -offset + rng.normal(0, noise, len(s))
        right.append(s * np.cos(u) - across * np.sin(u))
        up.append(s * np.sin(u) + across * np.cos(u))
        along.append(np.full(len(s), angle % 180))
    if clutter:
        right.append(rng.uniform(-350, 350, clutter))
        up.append(rng.uniform(-350, 350, clutter))
        along.append(rng.uniform(0, 180, clutter))
    right, up, along = (np.concatenate(v) for v in (right, up, along))
    return Ridge(right, up, along, np.ones(len(right)), np.ones(len(right), bool))


@pytest.mark.parametrize("angle", [-170.3, -90.0, -56.9, 0.4, 91.2, 179.9])
def test_a_ray_is_found_at_its_angle_and_offset(angle):
    best = vote(ridge_of((angle, 8.0, 30, 260), noise=0.5, clutter=400), stature=STATURE)[0]
    assert (best.angle_deg - angle + 180) % 360 - 180 == pytest.approx(0, abs=0.15)
    assert best.offset_px == pytest.approx(8.0, abs=0.6)
    assert best.end_px == pytest.approx(260, abs=12)


def test_a_longer_ray_beats_a_shorter_one():
    rays = vote(ridge_of((40, 0, 30, 120), (130, 0, 30, 260)), stature=STATURE)
    assert rays[0].angle_deg == pytest.approx(130, abs=0.3)
    assert rays[1].angle_deg == pytest.approx(40, abs=0.5)


def test_a_line_that_starts_far_from_the_hands_scores_less_than_a_shaft():
    near = vote(ridge_of((40, 0, 30, 130)), stature=STATURE)[0]
    far = vote(ridge_of((40, 0, 200, 300)), stature=STATURE)[0]
    assert far.score < 0.5 * near.score


def test_nothing_but_noise_gives_no_long_ray():
    rays = vote(ridge_of(clutter=300), stature=STATURE)
    assert all(r.seen_px < 0.25 * STATURE for r in rays)
    assert vote(ridge_of((0, 0, 1, 3)), stature=STATURE) == []


def ray(angle, score=4.0, end=250.0):
    return Candidate((angle + 180) % 360 - 180, 0.1, 0.0, end, 200.0, score)


def test_the_path_follows_the_turning_ray_and_not_a_brighter_still_one():
    t = np.arange(40) / 60
    true = -60 - 400 * t
    rows = [[ray(20, score=4.3 if i % 3 == 0 else 1.0), ray(a)] for i, a in enumerate(true)]
    assert choose_path(t, rows) == [1] * 40


def test_the_path_bridges_frames_without_a_ray():
    t = np.arange(30) / 60
    rows = [[] if 10 <= i < 16 else [ray(-60 - 300 * t[i])] for i in range(30)]
    path = choose_path(t, rows)
    assert path[9] == 0
    assert path[10:16] == [-1] * 6
    assert path[16] == 0


def test_a_ray_that_stands_alone_is_dropped_and_a_stretch_is_kept():
    t = np.arange(30) / 60
    rows = [[ray(-60 - 300 * s)] if s < 0.3 else [] for s in t]
    rows[26] = [ray(120)]
    kept = keep_stretches(t, rows, [0 if r else -1 for r in rows])
    assert kept[:18] == [0] * 18
    assert kept[26] == -1


def test_no_candidates_give_no_path():
    assert choose_path(np.arange(3.0), [[], [], []]) == [-1, -1, -1]

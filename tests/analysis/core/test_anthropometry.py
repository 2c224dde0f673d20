"""Segment tables against their sources and worked examples of centres of mass."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core import anthropometry as a
from analysis.core.geometry import joint_angle_deg
from analysis.core.pose import JOINT, JOINTS


def test_masses_of_each_table_sum_to_the_whole_body() -> None:
    """de Leva 1996 (J Biomech 29:1223): 1.0000 and, as printed, 0.9999; Winter 2009: 1.000."""
    assert a.total_mass(a.DE_LEVA_MALE) == pytest.approx(1.0, abs=1e-9)
    assert a.total_mass(a.DE_LEVA_FEMALE) == pytest.approx(0.9999, abs=1e-9)
    assert a.total_mass(a.WINTER) == pytest.approx(1.0, abs=1e-9)


def test_lower_limb_example_of_winter() -> None:
    """Winter 2009, Table A.1 frame and Table 4.1: limb centre (81.771, 58.367) cm."""
    point = {
        "toe": (101.1, 1.3), "ankle": (84.9, 11.0), "knee": (86.4, 54.9), "hip": (72.1, 92.8),
    }  # fmt: skip
    expected = {"foot": (93.0, 6.15), "leg": (85.7505, 35.8913), "thigh": (78.2919, 76.3893)}
    limb = [s for s in a.WINTER if s.start in ("hip", "knee", "ankle")]
    centres = {}
    for name, s in zip(("thigh", "leg", "foot"), limb, strict=True):
        start, end = np.array(point[s.start]), np.array(point[s.end])
        centres[name] = start + s.centre * (end - start)
        np.testing.assert_allclose(centres[name], expected[name], atol=1e-3)
    mass = [s.mass for s in limb]
    whole = np.average([centres[n] for n in ("thigh", "leg", "foot")], axis=0, weights=mass)
    np.testing.assert_allclose(whole, (81.770734, 58.366773), atol=1e-3)
    knee = joint_angle_deg(*(np.array([point[n]]) for n in ("hip", "knee", "ankle")))
    assert knee[0] == pytest.approx(157.3711, abs=1e-3)


def test_address_figure_of_the_reference_sheet() -> None:
    """Sagittal figure, Winter's table: centre (0.0853, 0.9778) m, 57.53 % of the foot."""
    place = {
        "ankle": (0.0, 0.07), "toe": (0.13, 0.0), "knee": (0.08, 0.50), "hip": (-0.10, 0.92),
        "shoulder": (0.22, 1.36), "elbow": (0.27, 1.07), "wrist": (0.33, 0.83),
        "grip": (0.35, 0.75),
        "head": (0.33, 1.53), "neck": (0.22, 1.40), "heel": (-0.07, 0.0),
    }  # fmt: skip
    joints = np.zeros((1, len(JOINTS), 2))
    for name, j in JOINT.items():
        joints[0, j] = place[name.rpartition("_")[0] or name]
    centre = a.centre_of_mass(joints, a.WINTER)[0]
    np.testing.assert_allclose(centre, (0.085329, 0.977829), atol=1e-6)
    assert 100 * (centre[0] + 0.07) / 0.27 == pytest.approx(57.529, abs=1e-3)


def test_standing_figure_lies_at_its_published_height() -> None:
    """Drillis & Contini heights with Winter's masses: 0.5773 of stature."""
    height = {
        "toe": 0.0, "heel": 0.0, "ankle": 0.039, "knee": 0.285, "hip": 0.530, "shoulder": 0.818,
        "elbow": 0.630, "wrist": 0.485, "grip": 0.377, "head": 0.936, "neck": 0.870,
    }  # fmt: skip
    joints = np.zeros((1, len(JOINTS), 1))
    for name, j in JOINT.items():
        joints[0, j] = height[name.rpartition("_")[0] or name]
    assert a.centre_of_mass(joints, a.WINTER)[0, 0] == pytest.approx(0.577288, abs=2e-3)


def test_arm_lengths_lie_within_the_public_survey() -> None:
    """US Army survey 2012 (NATICK/TR-15/007): acromion-radiale 0.191 +- 0.006 of stature,
    radiale-stylion 0.150 +- 0.007; the table's segments lie within two of these."""
    assert a.LENGTH["upper_arm"] == pytest.approx(0.191, abs=2 * 0.0063)
    assert a.LENGTH["forearm"] == pytest.approx(0.150, abs=2 * 0.0065)
    assert a.LENGTH["foot"] == pytest.approx(0.153, abs=2 * 0.0053)

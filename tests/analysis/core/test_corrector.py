"""Inference of the swing network: shapes, invariances, spread."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core import corrector as c
from analysis.core.pose import JOINT, JOINTS, LANDMARK

RNG = np.random.default_rng(1)
WIDTH, HEADS, TOKEN, SWING = 8, 2, 5, 3


def members(count: int = 2, layers: int = 1) -> dict[str, np.ndarray]:
    """Random weights of a tiny ensemble."""

    def draw(*shape: int) -> np.ndarray:
        return RNG.normal(0, 0.3, (count, *shape))

    w = {
        "x.mean": draw(TOKEN), "x.sd": np.abs(draw(TOKEN)) + 1, "s.mean": draw(SWING),
        "s.sd": np.abs(draw(SWING)) + 1, "y.mean": draw(c.N_OUT), "y.sd": np.abs(draw(c.N_OUT)) + 1,
        "token.w": draw(TOKEN, WIDTH), "token.b": draw(WIDTH), "swing.w": draw(SWING, WIDTH),
        "swing.b": draw(WIDTH), "mix.w": draw(WIDTH, WIDTH), "mix.b": draw(WIDTH),
        "last.g": draw(WIDTH) + 1, "last.b": draw(WIDTH), "mean.w": draw(WIDTH, c.N_OUT),
        "mean.b": draw(c.N_OUT), "log_sd.w": draw(WIDTH, c.N_OUT), "log_sd.b": draw(c.N_OUT),
        "skip.w": draw(TOKEN, c.N_OUT),
    }  # fmt: skip
    for k in range(layers):
        for name in ("q", "k", "v", "o"):
            w |= {f"block{k}.{name}.w": draw(WIDTH, WIDTH), f"block{k}.{name}.b": draw(WIDTH)}
        w |= {f"block{k}.f1.w": draw(WIDTH, 2 * WIDTH), f"block{k}.f1.b": draw(2 * WIDTH)}
        w |= {f"block{k}.f2.w": draw(2 * WIDTH, WIDTH), f"block{k}.f2.b": draw(WIDTH)}
        for name in ("n1", "n2"):
            w |= {f"block{k}.{name}.g": draw(WIDTH) + 1, f"block{k}.{name}.b": draw(WIDTH)}
    named = {f"net/{name}": value for name, value in w.items()}
    return named | {"layers": np.array(layers), "heads": np.array(HEADS)}


def test_one_layer_by_hand() -> None:
    """The batched arithmetic against the same formulas written out for one member and frame."""
    w = members(count=1)
    tokens, swing = RNG.normal(size=(4, TOKEN)), RNG.normal(size=SWING)
    context = np.array([0, 2])
    mean, _ = c.members(tokens, swing, context, w)

    def p(name: str) -> np.ndarray:
        return w[f"net/{name}"][0]

    def gelu(x: np.ndarray) -> np.ndarray:
        return 0.5 * x * (1 + np.tanh(np.sqrt(2 / np.pi) * (x + 0.044715 * x**3)))

    def norm(x: np.ndarray, name: str) -> np.ndarray:
        return (x - x.mean()) / np.sqrt(x.var() + 1e-5) * p(f"{name}.g") + p(f"{name}.b")

    x = (tokens - p("x.mean")) / p("x.sd")
    s = (swing - p("s.mean")) / p("s.sd")
    start = []
    for row in x:
        h = row @ p("token.w") + p("token.b") + s @ p("swing.w") + p("swing.b")
        start.append(h + gelu(h) @ p("mix.w") + p("mix.b"))
    h, normed = start[3], [norm(row, "block0.n1") for row in start]
    half = WIDTH // HEADS
    seen = []
    for head in range(HEADS):
        part = slice(head * half, (head + 1) * half)
        q = (normed[3] @ p("block0.q.w") + p("block0.q.b"))[part]
        keys = [(normed[i] @ p("block0.k.w") + p("block0.k.b"))[part] for i in context]
        values = [(normed[i] @ p("block0.v.w") + p("block0.v.b"))[part] for i in context]
        look = np.exp([q @ k / np.sqrt(half) for k in keys])
        seen.append(sum(a * v for a, v in zip(look / look.sum(), values, strict=True)))
    h = h + np.concatenate(seen) @ p("block0.o.w") + p("block0.o.b")
    hidden = gelu(norm(h, "block0.n2") @ p("block0.f1.w") + p("block0.f1.b"))
    h = h + hidden @ p("block0.f2.w") + p("block0.f2.b")
    out = norm(h, "last") @ p("mean.w") + p("mean.b") + x[3] @ p("skip.w")
    np.testing.assert_allclose(mean[0, 3], out * p("y.sd") + p("y.mean"), rtol=1e-4, atol=1e-4)


def test_frames_outside_the_context_change_nothing() -> None:
    """30 and 240 pictures a second read the same swing."""
    w = members()
    tokens, swing = RNG.normal(size=(6, TOKEN)), RNG.normal(size=SWING)
    few, _ = c.members(tokens[:4], swing, np.array([0, 1, 2]), w)
    many, _ = c.members(tokens, swing, np.array([0, 1, 2]), w)
    np.testing.assert_allclose(few, many[:, :4], rtol=1e-5, atol=1e-5)


def test_disagreement_between_members_widens_the_spread() -> None:
    w = members(count=2)
    tokens, swing, context = RNG.normal(size=(3, TOKEN)), RNG.normal(size=SWING), np.array([0])
    mean, sd = c.members(tokens, swing, context, w)
    value, spread = c._ensemble(tokens, swing, context, w)
    np.testing.assert_allclose(value, mean.mean(axis=0))
    expected = np.sqrt((sd**2).mean(axis=0) + (mean[0] - mean[1]) ** 2 / 4)
    np.testing.assert_allclose(spread, expected, rtol=1e-5)


def test_context_takes_every_frame_once_and_only_near_phases() -> None:
    phase = np.concatenate([np.zeros(30), np.linspace(0, 1, 60), np.linspace(1, 2, 20)])
    rows = c.context_rows(phase)
    assert len(set(rows.tolist())) == len(rows) <= len(c.CONTEXT_PHASES)
    assert np.abs(phase[rows][:, None] - c.CONTEXT_PHASES).min(axis=1).max() < 0.2
    assert (phase[rows] == 0).sum() >= 3
    assert c.context_rows(np.zeros(2)).tolist() == [0, 1]


def test_anchors_are_weighted_means_of_landmarks() -> None:
    np.testing.assert_allclose(c.ANCHOR.sum(axis=1), 1.0)
    assert c.ANCHOR[JOINT["hip_lead"], LANDMARK["hip_left"]] == 1.0
    assert c.ANCHOR[JOINT["head"], LANDMARK["ear_right"]] == 0.5
    assert c.ANCHOR.shape == (len(JOINTS), 33)


def test_features_do_not_change_with_place_and_size_of_the_person() -> None:
    xy = RNG.normal(300, 60, (5, 33, 2))
    depth, world, sure = RNG.normal(size=(5, 33)), RNG.normal(size=(5, 33, 3)), np.ones((5, 33))

    def features(k: float, shift: float) -> np.ndarray:
        moved = k * xy + shift
        origin, scale = c.standing_frame(moved[:1])
        return c.frame_features(moved, k * depth, world, sure, origin=origin, scale=scale)

    np.testing.assert_allclose(features(1.0, 0.0), features(2.5, 40.0), atol=1e-9)


def test_strangeness_grows_with_distance_along_and_beside_the_known_directions() -> None:
    n = c.N_XY
    weights = {
        "odd/top/mean": np.zeros(n), "odd/top/axes": np.eye(n)[:, :2] / 0.5,
        "odd/top/rest": np.array(0.01), "odd/top/edge": np.array(1.0),
    }  # fmt: skip
    tokens = np.zeros((4, n + 3))
    tokens[1, 0], tokens[2, 0], tokens[3, 5] = 0.5, 1.5, 0.1
    found = c.strangeness(tokens, "top", weights)
    np.testing.assert_allclose(found, np.array([0, 1, 3, 1]) / np.sqrt(3), atol=1e-9)


def test_without_an_address_frame_nothing_can_be_told() -> None:
    from analysis.core.pose import PoseSequence

    pose = PoseSequence(
        np.arange(3.0), np.arange(3), np.full((3, 33, 2), np.nan), np.zeros((3, 33)), (10, 10)
    )
    everywhere = np.ones(3, bool)
    with pytest.raises(ValueError, match="address"):
        c.correct(pose, np.zeros(3), everywhere, everywhere, weights={})

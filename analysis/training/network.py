"""The network of `core.corrector` in PyTorch, and one training run of one member."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from analysis.core.corrector import FIGURES, MOTION, N_OUT, STANDING
from analysis.core.pose import JOINTS
from analysis.training.augment import Augmenter, Inputs, Ranges
from analysis.training.table import EVENT_CODE, Array, Table

SLOTS = 40  # frames of a swing, padded


@dataclass(frozen=True)
class Recipe:
    """Everything that was chosen by hand."""

    width: int = 96
    layers: int = 4
    heads: int = 4
    dropout: float = 0.15
    epochs: int = 50  # of the table and as many rendered swings again; 75 of the table alone
    batch: int = 24
    rate: float = 2e-3
    decay: float = 1e-2
    input_noise: float = 0.03
    hidden_frames: float = 0.6  # up to this share of frames is not looked at
    joint_weight: float = 0.3
    solid_weight: float = 0.15
    camera_weight: float = 0.5


class Attention(nn.Module):
    def __init__(self, width: int, heads: int, dropout: float) -> None:
        super().__init__()
        self.n1, self.n2 = nn.LayerNorm(width), nn.LayerNorm(width)
        self.q, self.k, self.v, self.o = (nn.Linear(width, width) for _ in range(4))
        self.f1, self.f2 = nn.Linear(width, 2 * width), nn.Linear(2 * width, width)
        self.heads, self.drop = heads, nn.Dropout(dropout)

    def forward(self, h: Tensor, seen: Tensor) -> Tensor:
        b, n, d = h.shape
        normed = self.n1(h)
        q, k, v = (
            p(normed).view(b, n, self.heads, -1).transpose(1, 2) for p in (self.q, self.k, self.v)
        )
        look = (q @ k.transpose(-1, -2)) / (d // self.heads) ** 0.5
        look = look.masked_fill(~seen[:, None, None, :], -1e9).softmax(-1)
        h = h + self.drop(self.o((look @ v).transpose(1, 2).reshape(b, n, d)))
        return h + self.drop(self.f2(nn.functional.gelu(self.f1(self.n2(h)), approximate="tanh")))


class SwingNetwork(nn.Module):
    def __init__(self, n_token: int, n_swing: int, recipe: Recipe) -> None:
        super().__init__()
        d = recipe.width
        self.token, self.swing, self.mix = (
            nn.Linear(n_token, d),
            nn.Linear(n_swing, d),
            nn.Linear(d, d),
        )
        self.blocks = nn.ModuleList(
            Attention(d, recipe.heads, recipe.dropout) for _ in range(recipe.layers)
        )
        self.last, self.drop = nn.LayerNorm(d), nn.Dropout(recipe.dropout)
        self.mean, self.log_sd = nn.Linear(d, N_OUT), nn.Linear(d, N_OUT)
        self.skip = nn.Linear(n_token, N_OUT, bias=False)
        nn.init.zeros_(self.skip.weight)
        nn.init.zeros_(self.log_sd.weight)

    def forward(self, tokens: Tensor, swing: Tensor, seen: Tensor) -> tuple[Tensor, Tensor]:
        h = self.token(tokens) + self.swing(swing)[:, None]
        h = h + self.mix(self.drop(nn.functional.gelu(h, approximate="tanh")))
        for block in self.blocks:
            h = block(h, seen)
        h = self.last(h)
        return self.mean(h) + self.skip(tokens), self.log_sd(h).clamp(-4, 2)


class Trainer:
    """Prepares one view's table once; `run` makes a member from a part of its bodies."""

    def __init__(self, table: Table, recipe: Recipe, ranges: Ranges) -> None:
        self.table, self.recipe, self.ranges = table, recipe, ranges
        self.augmenter = Augmenter(table)
        self.swing = table.frame["swing"]
        self.n = len(table.swings["sid"])
        starts = np.searchsorted(self.swing, np.arange(self.n))
        self.slot = np.arange(len(self.swing)) - starts[self.swing]
        self.mask = torch.tensor(self._padded(np.ones(len(self.swing), np.float32)) > 0)
        self.weight = self._weights()

    def run(self, train: NDArray[np.bool_], *, seed: int, quiet: bool = False) -> dict[str, Array]:
        """Train on the swings of `train`; returns the member's weights by name."""
        r, start = self.recipe, time.perf_counter()
        rng = np.random.default_rng(seed)
        torch.manual_seed(seed)
        plain = self.augmenter.plain()
        norm = self._norms(plain, train)
        net = SwingNetwork(plain.tokens.shape[1], plain.swing.shape[1], r)
        pool, weight = np.flatnonzero(train), torch.tensor(self._padded(self.weight))
        per_output = weight[pool].sum((0, 1))
        emphasis = self._emphasis() / per_output * per_output[0]
        optimiser = torch.optim.AdamW(net.parameters(), lr=r.rate, weight_decay=r.decay)
        steps = r.epochs * (len(pool) // r.batch + 1)
        schedule = torch.optim.lr_scheduler.OneCycleLR(
            optimiser, r.rate, total_steps=steps, pct_start=0.15
        )
        for _ in range(r.epochs):
            tokens, swing, target = self._tensors(
                self.augmenter.drawn(rng, self.ranges, train), norm
            )
            net.train()
            order = rng.permutation(pool)
            for k in range(0, len(order), r.batch):
                pick = order[k : k + r.batch]
                seen = self.mask[pick] & (
                    torch.rand(len(pick), SLOTS) > r.hidden_frames * torch.rand(len(pick), 1)
                )
                seen[:, 0] = True
                noisy = tokens[pick] + r.input_noise * torch.randn_like(tokens[pick])
                mean, log_sd = net(noisy, swing[pick], seen)
                error = mean - target[pick]
                variance = torch.exp(2 * log_sd)
                # beta-NLL: the likelihood, but hard frames keep their pull on the mean
                loss = (log_sd + 0.5 * error**2 / variance) * variance.detach() ** 0.5
                w = weight[pick] * emphasis
                loss = (loss * w).sum() / w.sum()
                optimiser.zero_grad()
                loss.backward()
                nn.utils.clip_grad_norm_(net.parameters(), 1.0)
                optimiser.step()
                schedule.step()
        if not quiet:
            print(f"  member {seed}: {time.perf_counter() - start:.0f} s", flush=True)
        return _named(net.eval(), norm)

    def _padded(self, rows: Array) -> NDArray[np.float32]:
        out = np.zeros((self.n, SLOTS, *rows.shape[1:]), np.float32)
        out[self.swing, self.slot] = rows
        return out

    def _weights(self) -> NDArray[np.float32]:
        """How much each output of each frame counts, shape (N, N_OUT)."""
        f, s = self.table.frame, self.table.swings
        base = np.where(f["phase"] > 2.4, 0.15, 1.0) * (f["phase"] < 2.7)
        base *= np.where(np.isin(f["event"], list(EVENT_CODE.values())), 2.0, 1.0)
        base *= np.where(s["setup_only"][self.swing] == 1, 0.5, 1.0)
        weight = np.repeat(base[:, None], N_OUT, axis=1)
        standing = slice(len(MOTION), len(MOTION) + len(STANDING))
        weight[:, standing] *= (f["event"] == EVENT_CODE["address"])[:, None]
        return weight.astype(np.float32)

    def _emphasis(self) -> Tensor:
        """Weight of each output in the loss."""
        r = self.recipe
        out = torch.ones(N_OUT)
        out[:2] = 2.0
        out[len(MOTION) + len(STANDING) : len(FIGURES)] = r.camera_weight
        out[len(FIGURES) : len(FIGURES) + 2 * len(JOINTS)] = r.joint_weight
        out[len(FIGURES) + 2 * len(JOINTS) :] = r.solid_weight
        return out

    def _norms(self, inputs: Inputs, train: NDArray[np.bool_]) -> dict[str, Array]:
        rows = train[self.swing]
        target, w = inputs.target[rows], self.weight[rows] > 0
        count = w.sum(axis=0)
        y_mean = (target * w).sum(axis=0) / count
        y_sd = np.sqrt((w * (target - y_mean) ** 2).sum(axis=0) / count) + 1e-6
        tokens, swing = inputs.tokens[rows], inputs.swing[train]
        return {
            "x.mean": tokens.mean(axis=0),
            "x.sd": tokens.std(axis=0) + 1e-2,
            "s.mean": swing.mean(axis=0),
            "s.sd": swing.std(axis=0) + 1e-2,
            "y.mean": y_mean,
            "y.sd": y_sd,
        }

    def _tensors(self, inputs: Inputs, norm: dict[str, Array]) -> tuple[Tensor, Tensor, Tensor]:
        tokens = np.clip((inputs.tokens - norm["x.mean"]) / norm["x.sd"], -6, 6)
        swing = np.clip((inputs.swing - norm["s.mean"]) / norm["s.sd"], -6, 6)
        target = (inputs.target - norm["y.mean"]) / norm["y.sd"]
        return (
            torch.tensor(self._padded(tokens)),
            torch.tensor(swing, dtype=torch.float32),
            torch.tensor(self._padded(target)),
        )


def _named(net: SwingNetwork, norm: dict[str, Array]) -> dict[str, Array]:
    """Weights under the names that `core.corrector.members` reads."""
    out = {f"net/{k}": np.asarray(v, np.float32) for k, v in norm.items()}

    def linear(name: str, layer: nn.Linear) -> None:
        out[f"net/{name}.w"] = layer.weight.detach().numpy().T
        if layer.bias is not None:
            out[f"net/{name}.b"] = layer.bias.detach().numpy()

    def layer_norm(name: str, layer: nn.LayerNorm) -> None:
        out[f"net/{name}.g"], out[f"net/{name}.b"] = (
            layer.weight.detach().numpy(),
            layer.bias.detach().numpy(),
        )

    for name in ("token", "swing", "mix", "mean", "log_sd", "skip"):
        linear(name, getattr(net, name))
    for k, block in enumerate(net.blocks):
        for name in ("q", "k", "v", "o", "f1", "f2"):
            linear(f"block{k}.{name}", getattr(block, name))
        for name in ("n1", "n2"):
            layer_norm(f"block{k}.{name}", getattr(block, name))
    layer_norm("last", net.last)
    return out

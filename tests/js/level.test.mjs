import assert from "node:assert/strict";
import { test } from "node:test";
import { share } from "../../static/js/review/level.js";

test("a voice is told from quiet to full, in decibels", () => {
  assert.equal(share(new Float32Array(8)), 0);
  assert.equal(share(Float32Array.of(1, -1, 1, -1)), 1);
  assert.ok(Math.abs(share(Float32Array.of(0.1, -0.1)) - 2 / 3) < 1e-6); // -20 dB of -60
  assert.equal(share(Float32Array.of(1e-4, -1e-4)), 0);
});

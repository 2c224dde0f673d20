import assert from "node:assert/strict";
import { test } from "node:test";
import { costly, secondsFor, secondsLeft } from "../../static/js/intake/costly.js";

test("a phone that saves data or has a slow line is asked first", () => {
  assert.equal(costly(undefined), ""); // most phones tell nothing
  assert.equal(costly({ effectiveType: "4g", downlink: 10 }), "");
  assert.equal(costly({ saveData: true, effectiveType: "4g", downlink: 10 }), "saves");
  assert.equal(costly({ effectiveType: "3g" }), "slow");
  assert.equal(costly({ effectiveType: "4g", downlink: 1.6 }), "slow");
});

test("how long it takes is said in fives, or not at all", () => {
  assert.equal(secondsFor(8.06e6, { downlink: 1.6 }), 45);
  assert.equal(secondsFor(8.06e6, { downlink: 10 }), 10);
  assert.equal(secondsFor(1, { downlink: 10 }), 5);
  assert.equal(secondsFor(8e6, {}), undefined);
  assert.equal(secondsFor(8e6, undefined), undefined);
  assert.equal(secondsLeft(1, 4, 8), undefined);
  assert.equal(secondsLeft(10, 2, 8), 30);
  assert.equal(secondsLeft(10, 8, 8), undefined);
});

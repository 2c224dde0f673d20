import assert from "node:assert/strict";
import { test } from "node:test";
import { megabytes, pauseAfter, watchdog, whatNow } from "../../static/js/intake/persistence.js";

test("the pause grows and never ends in giving up", () => {
  const pauses = Array.from({ length: 200 }, (_, n) => pauseAfter(n + 1));
  assert.equal(pauses[0], 2);
  assert.ok(pauses.every((pause, n) => n === 0 || pause >= pauses[n - 1]));
  assert.equal(pauses.at(-1), 120);
});

test("only an answer that nothing can change ends the sending", () => {
  for (const status of [0, 408, 409, 423, 429, 460, 500, 502, 503, 504, 507]) {
    assert.equal(whatNow({ status, detail: "Busy." }), "again", String(status));
  }
  assert.equal(whatNow({ status: 413, code: "too_big", detail: "Too big." }), "refused");
  assert.equal(whatNow({ status: 404, detail: "Not found." }), "refused");
  assert.equal(whatNow({ status: 404 }), "again"); // a hotel's own page, not ours
  assert.equal(whatNow({ status: 401 }), "sign_in");
  assert.equal(whatNow({ status: 403 }), "sign_in");
  assert.equal(whatNow({ status: 403, code: "consent", detail: "Not agreed." }), "refused");
  assert.equal(whatNow({ status: 410, code: "expired", detail: "Too long." }), "anew");
});

test("a line that falls silent is noticed once, a moving one never", (t) => {
  t.mock.timers.enable({ apis: ["setTimeout"] });
  let noticed = 0;
  const dog = watchdog(() => { noticed += 1; }, { limit: 1000, later: (f, ms) => setTimeout(f, ms), never: (id) => clearTimeout(id) });
  dog.moved();
  for (let n = 0; n < 10; n += 1) { t.mock.timers.tick(900); dog.moved(); }
  assert.equal(noticed, 0);
  t.mock.timers.tick(1000);
  t.mock.timers.tick(9000);
  assert.equal(noticed, 1);
  dog.moved();
  dog.stop();
  t.mock.timers.tick(5000);
  assert.equal(noticed, 1);
});

test("megabytes are whole, and a little is not nothing", () => {
  assert.deepEqual([61_400_000, 1_600_000, 340_000, 10, 0].map(megabytes), [61, 2, 0.3, 0.1, 0]);
});

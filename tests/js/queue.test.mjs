import assert from "node:assert/strict";
import { test } from "node:test";
import { due, outcome } from "../../static/js/offline/queue.js";

const pain = "/students/3/pain/";

test("only an answer that took it in ends the waiting", () => {
  assert.equal(outcome({ status: 200, url: "http://here/pain/9/where/" }, pain), "done");
  assert.equal(outcome({ status: 200, url: "/students/3/thread/" }, "/students/3/thread/send/"), "done");
  for (const status of [0, 408, 423, 429, 500, 502, 503]) assert.equal(outcome({ status, url: pain }, pain), "later");
  for (const status of [401, 403]) assert.equal(outcome({ status, url: pain }, pain), "sign_in");
  for (const status of [400, 404, 413]) assert.equal(outcome({ status, url: pain }, pain), "refused");
});

test("being sent to the sign-in page is not being taken in", () => {
  assert.equal(outcome({ status: 200, url: "http://here/login/?next=/students/3/pain/" }, pain), "sign_in");
  assert.equal(outcome({ status: 200, url: "http://here/you/second-step/" }, pain), "sign_in");
  assert.equal(outcome({ status: 200, url: pain }, pain), "sign_in");
});

test("nobody sends what another person wrote on this phone", () => {
  const rows = [
    { key: 1, by: "7", what: "words", at: 1 },
    { key: 2, by: "8", what: "pain", at: 2 },
    { key: 3, by: "7", what: "pain", at: 3 },
    { key: 4, by: "7", what: "pain", at: 4, refused: 404 },
    { key: 5, what: "words", at: 5 },
  ];
  assert.deepEqual(due(rows, "7").map((row) => row.key), [3, 1]);
  assert.deepEqual(due(rows, "8").map((row) => row.key), [2]);
  assert.deepEqual(due(rows, ""), []);
});

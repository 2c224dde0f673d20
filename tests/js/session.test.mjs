import assert from "node:assert/strict";
import { test } from "node:test";
import { figure, judge, verdict } from "../../static/js/practice/figures.js";
import { Session, topOf } from "../../static/js/practice/session.js";
import { standing } from "./standing.mjs";

const PICTURE = { width: 720, height: 1280 };
const SWAY = { measure: "pelvis_sway_cm", event: "top", comparison: "at_most", low: null, high: 4 };

test("a figure near its limit is not said, one far off is", () => {
  const asked = { comparison: "between", low: 10, high: 20 };
  const says = (value) => verdict({ value, sd: 1 }, asked);
  assert.deepEqual([5, 9, 11, 15, 19, 21, 25].map(says), ["not_yet", "", "", "there", "", "", "not_yet"]);
  assert.equal(verdict({ value: 50, sd: 1 }, { comparison: "changed_by", low: null, high: null }), "");
  assert.equal(verdict(undefined, asked), "");
});

const moved = (marks, x) => marks.map((p) => ({ ...p, x: p.x + x }));
const seen = (x, hand = "right") => ({ address: standing({ breadth: 0.09 }), top: moved(standing({ breadth: 0.09 }), x), hand, ...PICTURE, stature: 180 });

test("hips that move away from the target are found, for both hands, in centimetres of this golfer", () => {
  const away = figure(SWAY, "face_on", seen(-0.1)).value; // the target is to the right of the picture
  assert.ok(away > 5, `${away} cm`);
  const mirrored = (marks) => standing({}).map((_, i) => ({ ...marks[i], x: 1 - marks[i].x }));
  const left = { ...seen(-0.1), hand: "left" };
  const other = figure(SWAY, "face_on", { ...left, address: mirrored(left.address), top: mirrored(left.top) }).value;
  assert.ok(Math.abs(other - away) < 1e-9);
  assert.equal(figure(SWAY, "down_the_line", seen(-0.1)), undefined);
  assert.equal(figure(SWAY, "face_on", { ...seen(-0.1), stature: 0 }), undefined);
  assert.equal(figure({ ...SWAY, measure: "shaft_aim_deg" }, "face_on", seen(-0.1)), undefined);
});

test("there needs all of it, not yet needs one", () => {
  const unseen = { measure: "wrist_set_deg", event: "top", comparison: "at_least", low: 80, high: null };
  assert.equal(judge([SWAY], "face_on", seen(0)), "there");
  assert.equal(judge([SWAY, unseen], "face_on", seen(0)), "");
  assert.equal(judge([SWAY, unseen], "face_on", seen(-0.2)), "not_yet");
  assert.equal(judge([], "face_on", seen(0)), "");
});

test("the top is the highest look before the hands come down, not the finish", () => {
  const looks = [0.2, 1, 1.3, 0.5, 1.6].map((hands) => ({ hands, marks: hands }));
  assert.equal(topOf(looks), 1.3);
  assert.equal(topOf([{ hands: 0.3, marks: 1 }]), undefined);
});

const HANDS = [-0.2, 0.3, 0.7, 1.2, 1.3, 0.4, 0, 0.8, 1.2, ...Array(7).fill(1.2), 0.8, 0.2];

function practise(asked, rounds, wanted = () => true) {
  const session = new Session({ view: "face_on", hand: "right", kind: "rehearsal", criteria: [SWAY], stature: 180, left: 30, take: 2, ...asked });
  let t = 0;
  const told = [];
  const see = (level) => {
    const one = session.see((t += 0.1), standing({ breadth: 0.09, hands: 0.5 - 0.3 * level }), PICTURE);
    if (one.go) told.push("go");
    if (one.counted) told.push(`${one.count}${one.verdict && `:${one.verdict}`}`);
    if (one.take !== undefined) told.push(`film ${one.take}`);
  };
  for (let round = 0; round < rounds && wanted(session); round += 1) {
    for (let n = 0; n < 80; n += 1) see(-0.2);
    HANDS.forEach(see);
  }
  return { session, told };
}

test("it says when to go, counts, judges, and ends a film after the asked repetitions", () => {
  const { told } = practise({}, 2);
  assert.deepEqual(told, ["go", "1:there", "go", "2:there", "film 2"]);
});

test("a series ends at ten or at what the day still holds, and never goes beyond the day", () => {
  const { session } = practise({ left: 12 }, 10);
  assert.equal(session.phase, "rest");
  session.again();
  assert.equal(session.size, 2);
  assert.equal(practise({ left: 2 }, 4).session.phase, "enough");
  assert.equal(practise({ left: 2 }, 4).session.count, 2);
});

// Reads films as landmarks (JSON on standard input), judges them with the page's own modules.
import { Framing } from "../../static/js/intake/framing.js";
import { HandsFree, Repetitions } from "../../static/js/intake/hands-free.js";

let text = "";
for await (const piece of process.stdin) text += piece;
const { films, swings } = JSON.parse(text);
const marks = (row) => row?.map(([x, y, visibility]) => ({ x, y, visibility }));

const framed = films.map(({ asked, looks }) => {
  const framing = new Framing(asked), alone = new HandsFree({ ...asked, kind: "swing", repetitions: 1 });
  let said = "", good = false, started = false, t = 0;
  for (const { row, ...picture } of looks) {
    t += 0.1;
    const told = framing.look(t, marks(row), picture);
    said = told.said;
    good ||= told.good;
    started ||= alone.see(t, marks(row), picture).phase !== "check";
  }
  return { said, good, started };
});

const counted = swings.map(({ asked, looks, step }) => {
  const framing = new Framing(asked), reps = new Repetitions(asked.kind);
  let count = 0, t = 0;
  for (const row of looks) {
    t += step;
    const { seen, still } = framing.look(t, marks(row), { width: 720, height: 1280 });
    count += reps.push(t, seen, still);
  }
  return count;
});
process.stdout.write(JSON.stringify({ framed, counted }));

// Reads looks (JSON on standard input), practises with the page's own modules: what is said of the
// first repetition, "" where it is only counted.
import { Session } from "../../static/js/practice/session.js";

let text = "";
for await (const piece of process.stdin) text += piece;
const marks = (row) => row?.map(([x, y, visibility]) => ({ x, y, visibility }));

process.stdout.write(JSON.stringify(JSON.parse(text).map(({ asked, looks }) => {
  const session = new Session(asked);
  let t = 0;
  for (const row of [...Array(40).fill(looks[0]), ...looks]) {
    t += 0.1;
    const { counted, verdict } = session.see(t, marks(row), { width: 720, height: 1280 });
    if (counted) return verdict;
  }
  return "";
})));

// Is the phone standing right? Pure: from the network's landmarks to one instruction.
// Shares of the picture; x to the right, y down, as the network gives them.

const [NOSE, EARS, SHOULDERS, HIPS, ANKLES, FEET] = [0, [7, 8], [11, 12], [23, 24], [27, 28], [29, 30, 31, 32]];
const SEEN = 0.5;
// Room above the head for hands and club; the same limits as the check after sending.
const TALLEST = 0.72, SMALLEST = 0.28, EDGE = 0.02, ASIDE = 0.2;
// Breadth of shoulders and hips over the trunk's length: wide from the front, narrow from behind.
const NARROWEST_FRONT = 0.4, WIDEST_BEHIND = 0.75;

const middle = (points) => ({
  x: points.reduce((sum, p) => sum + p.x, 0) / points.length,
  y: points.reduce((sum, p) => sum + p.y, 0) / points.length,
});

/**
 * What to say, one thing at a time, the most important first.
 *
 * @param {{x: number, y: number, visibility?: number}[] | undefined} marks 33 landmarks, or nobody
 * @param {{view: string, width: number, height: number}} asked view, and the picture's size in pixels
 * @returns {"turn_phone"|"nobody"|"back"|"closer"|"aim_left"|"aim_right"|"wrong_view"|"good"}
 */
export function instruction(marks, { view, width, height }) {
  if (width > height) return "turn_phone";
  if (!marks?.length) return "nobody";
  const pick = (indices) => indices.map((i) => marks[i]);
  const seen = (indices) => pick(indices).every((p) => (p.visibility ?? 1) >= SEEN);
  if (!seen(SHOULDERS) && !seen(HIPS)) return "nobody";
  const top = Math.min(...pick([NOSE, ...EARS]).map((p) => p.y));
  const bottom = Math.max(...pick(FEET).map((p) => p.y));
  if (top < EDGE || bottom > 1 - EDGE || !seen(ANKLES) || bottom - top > TALLEST) return "back";
  if (bottom - top < SMALLEST) return "closer";
  const hips = middle(pick(HIPS));
  if (hips.x < 0.5 - ASIDE) return "aim_left";
  if (hips.x > 0.5 + ASIDE) return "aim_right";
  return wrongView(pick, hips, { view, width, height }) ? "wrong_view" : "good";
}

function wrongView(pick, hips, { view, width, height }) {
  const breadth = [SHOULDERS, HIPS].reduce((sum, pair) => {
    const [a, b] = pick(pair);
    return sum + Math.abs(a.x - b.x) * width;
  }, 0);
  const shoulders = middle(pick(SHOULDERS));
  const trunk = Math.hypot((shoulders.x - hips.x) * width, (shoulders.y - hips.y) * height);
  if (view === "face_on") return breadth / trunk < NARROWEST_FRONT;
  if (view === "down_the_line") return breadth / trunk > WIDEST_BEHIND;
  return false; // rear, overhead and others are for looking at: never "wrong"
}

/** Says a thing only once it has held for `hold` looks: nobody wants a chattering phone. */
export function steady(hold = 3) {
  let said = "", wanted = "", count = 0;
  return (now) => {
    count = now === wanted ? count + 1 : 1;
    wanted = now;
    if (count < hold || wanted === said) return undefined;
    said = wanted;
    return said;
  };
}

// Somebody standing, 60 % of the picture's height; `breadth` is half a shoulder's width, the left
// side to the right of the picture: the face is to the camera. Toes point right.
export function standing({ x = 0.5, top = 0.25, height = 0.6, breadth = 0.03, visibility = 0.95, toes = 0.05, hands = 0.55, lean = 0 } = {}) {
  const marks = Array.from({ length: 33 }, () => ({ x, y: top + height / 2, visibility }));
  const put = (indices, share, dx = 0) => indices.forEach((i, k) => {
    marks[i] = { x: x + dx + (k % 2 ? -breadth : breadth), y: top + share * height, visibility };
  });
  put([0], 0); put([7, 8], 0); put([11, 12], 0.2); put([15, 16], hands); put([23, 24], 0.5, lean); put([27, 28], 0.95);
  put([29, 30], 1); put([31, 32], 1, toes);
  return marks;
}

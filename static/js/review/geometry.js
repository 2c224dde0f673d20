// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// Points on a picture. A point is [x, y], 0..1 of the picture's width and height, y down.
// Lengths and angles need the picture's shape: `aspect` is its width divided by its height.

export const WHOLE = { scale: 1, x: 0, y: 0 };
const DEEPEST = 8;

/**
 * How much of the frame's width and height the whole picture takes at scale 1, where it
 * touches two sides: `[1, 1]` when both have one shape. Shapes are width ÷ height.
 */
export function fitOf(picture, frame) {
  return picture > frame ? [1, frame / picture] : [picture / frame, 1];
}

/** A view moved so that no more of the frame stays empty than must. `x`, `y` in 0..1 of the frame. */
export function clampView({ scale, x, y }, [fx, fy] = [1, 1]) {
  const s = Math.max(1, Math.min(DEEPEST, scale));
  return { scale: s, x: clampEdge(x, s * fx), y: clampEdge(y, s * fy) };
}

/** Where an edge may lie: a side smaller than the frame stands in its middle. */
function clampEdge(at, size) {
  return size < 1 ? (1 - size) / 2 : clamp(at, 1 - size, 0);
}

/** Zoom by `factor`, holding the point of the frame under the finger still. */
export function zoomAt(view, [ax, ay], factor, fit = [1, 1]) {
  const scale = clamp(view.scale * factor, 1, DEEPEST);
  const k = scale / view.scale;
  return clampView({ scale, x: ax - (ax - view.x) * k, y: ay - (ay - view.y) * k }, fit);
}

/** A view that shows `point` of the picture in the middle of the frame. */
export function centredOn(view, [px, py], scale = view.scale, fit = [1, 1]) {
  return clampView({ scale, x: 0.5 - px * scale * fit[0], y: 0.5 - py * scale * fit[1] }, fit);
}

/**
 * A view that shows a box of the picture with some air around it, never cut; the air is
 * given up where that lets the picture fill its frame.
 */
export function filledWith({ left, right, top, bottom }, air = 1.12, fit = [1, 1]) {
  const whole = Math.min(1 / ((right - left) * fit[0]), 1 / ((bottom - top) * fit[1]));
  const full = 1 / Math.min(...fit);
  const scale = clamp(Math.max(whole / air, Math.min(full, whole)), 1, 6);
  return centredOn(WHOLE, [(left + right) / 2, (top + bottom) / 2], scale, fit);
}

/**
 * The view through a window of another shape: the same middle, and nothing of it cut off.
 * `was` and `now` are the fits of both windows.
 */
export function refitted(view, was, now) {
  const middle = [view.x, view.y].map((at, k) => (0.5 - at) / (view.scale * was[k]));
  const scale = clamp(view.scale * Math.min(was[0] / now[0], was[1] / now[1]), 1, DEEPEST);
  return centredOn(WHOLE, middle, scale, now);
}

export function pan(view, dx, dy, fit = [1, 1]) {
  return clampView({ ...view, x: view.x + dx, y: view.y + dy }, fit);
}

/** A point of the frame, as a point of the picture behind it, and back. */
export function toPicture(view, [ax, ay], [fx, fy] = [1, 1]) {
  return [(ax - view.x) / (view.scale * fx), (ay - view.y) / (view.scale * fy)];
}

export function toFrame(view, [px, py], [fx, fy] = [1, 1]) {
  return [px * view.scale * fx + view.x, py * view.scale * fy + view.y];
}

export function clamp(value, low, high) {
  return Math.max(low, Math.min(high, value));
}

/** The nearest place inside the picture. */
export function inside([x, y]) {
  return [clamp(x, 0, 1), clamp(y, 0, 1)];
}

export function distance(a, b, aspect) {
  return Math.hypot((a[0] - b[0]) * aspect, a[1] - b[1]);
}

/** Angle at `corner`, degrees in 0..180, as seen in the picture. */
export function angleDeg(a, corner, b, aspect) {
  const u = [(a[0] - corner[0]) * aspect, a[1] - corner[1]];
  const v = [(b[0] - corner[0]) * aspect, b[1] - corner[1]];
  const length = Math.hypot(...u) * Math.hypot(...v);
  if (length === 0) return NaN;
  return (Math.acos(clamp((u[0] * v[0] + u[1] * v[1]) / length, -1, 1)) * 180) / Math.PI;
}

/** The candidate `{point}` nearest to `point` within `radius` of the picture's height. */
export function snap(point, candidates, radius, aspect) {
  let best = null;
  let least = radius;
  for (const candidate of candidates) {
    const d = distance(point, candidate.point, aspect);
    if (d <= least) {
      best = candidate;
      least = d;
    }
  }
  return best;
}

/** The line through two points, drawn from edge to edge of the picture. */
export function acrossPicture(a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  if (dx === 0 && dy === 0) return [a, b];
  const cuts = [];
  if (dx !== 0) cuts.push((0 - a[0]) / dx, (1 - a[0]) / dx);
  if (dy !== 0) cuts.push((0 - a[1]) / dy, (1 - a[1]) / dy);
  const within = cuts
    .map((t) => [a[0] + t * dx, a[1] + t * dy])
    .filter(([x, y]) => x >= -1e-9 && x <= 1 + 1e-9 && y >= -1e-9 && y <= 1 + 1e-9);
  if (within.length < 2) return [a, b];
  within.sort((p, q) => (p[0] - q[0]) * dx + (p[1] - q[1]) * dy);
  return [inside(within[0]), inside(within[within.length - 1])];
}

/** The two barbs of an arrow that ends at `tip`. */
export function barbs(from, tip, aspect, length = 0.03) {
  const [dx, dy] = [(tip[0] - from[0]) * aspect, tip[1] - from[1]];
  const whole = Math.hypot(dx, dy);
  if (whole === 0) return [tip, tip];
  return [0.45, -0.45].map((turn) => {
    const [c, s] = [Math.cos(turn), Math.sin(turn)];
    const [ux, uy] = [(-dx / whole) * length, (-dy / whole) * length];
    return [tip[0] + (ux * c - uy * s) / aspect, tip[1] + (ux * s + uy * c)];
  });
}

/**
 * Ramer–Douglas–Peucker: the fewest of these points that stay within `tolerance`
 * (of the picture's height) of the drawn line.
 */
export function simplify(points, tolerance, aspect) {
  if (points.length < 3) return points.slice();
  const keep = new Uint8Array(points.length);
  keep[0] = keep[points.length - 1] = 1;
  const stack = [[0, points.length - 1]];
  while (stack.length) {
    const [first, last] = stack.pop();
    let far = -1;
    let most = tolerance;
    for (let i = first + 1; i < last; i += 1) {
      const d = offLine(points[i], points[first], points[last], aspect);
      if (d > most) {
        most = d;
        far = i;
      }
    }
    if (far > 0) {
      keep[far] = 1;
      stack.push([first, far], [far, last]);
    }
  }
  return points.filter((_, i) => keep[i]);
}

/** The drawing with at most `most` points: ever coarser until it fits. */
export function simplifyTo(points, most, aspect) {
  let tolerance = 0.0008;
  let fewer = simplify(points, tolerance, aspect);
  while (fewer.length > most) {
    tolerance *= 1.6;
    fewer = simplify(points, tolerance, aspect);
  }
  return fewer;
}

/** How far a point lies from the stretch between two others, in heights of the picture. */
export function offLine(p, a, b, aspect) {
  const [dx, dy] = [(b[0] - a[0]) * aspect, b[1] - a[1]];
  const [px, py] = [(p[0] - a[0]) * aspect, p[1] - a[1]];
  const length = dx * dx + dy * dy;
  const t = length === 0 ? 0 : clamp((px * dx + py * dy) / length, 0, 1);
  return Math.hypot(px - t * dx, py - t * dy);
}

/** The same points seen in a mirror: a left-hander beside a right-hander. */
export function mirror(points) {
  return points.map(([x, y]) => [1 - x, y]);
}

/** Mean of the points that are there, or null. */
export function middle(...points) {
  if (points.some((p) => !p)) return null;
  const sum = points.reduce(([x, y], p) => [x + p[0], y + p[1]], [0, 0]);
  return [sum[0] / points.length, sum[1] / points.length];
}

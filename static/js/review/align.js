// Two clips side by side: which moment of one belongs to which moment of the other.
import { eventsInOrder } from "./time.js";

/** Events that both repetitions have, in order: `[{id, a, b}]`, times in seconds. */
export function sharedEvents(a, b) {
  const other = Object.fromEntries(eventsInOrder(b).map((event) => [event.id, event.time_s]));
  const pairs = [];
  for (const event of eventsInOrder(a)) {
    const time = other[event.id];
    const last = pairs[pairs.length - 1];
    // Two events at one time, or in another order, cannot be stretched between.
    if (time === undefined || (last && (event.time_s <= last.a || time <= last.b))) continue;
    pairs.push({ id: event.id, a: event.time_s, b: time });
  }
  return pairs;
}

/** The other clip's time when both are laid over each other at one event. */
export function atEvent(pairs, id, time) {
  const pair = pairs.find((p) => p.id === id);
  return pair ? time + pair.b - pair.a : time;
}

/**
 * The other clip's time when every stretch between shared events is made equally long.
 * Before the first and after the last event both run at their own speed.
 */
export function stretched(pairs, time) {
  if (!pairs.length) return time;
  const first = pairs[0];
  const last = pairs[pairs.length - 1];
  if (time <= first.a) return time + first.b - first.a;
  if (time >= last.a) return time + last.b - last.a;
  const i = pairs.findIndex((pair) => pair.a > time);
  const [from, to] = [pairs[i - 1], pairs[i]];
  return from.b + ((time - from.a) / (to.a - from.a)) * (to.b - from.b);
}

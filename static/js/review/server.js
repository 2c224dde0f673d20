// Talking to the server: JSON in, JSON out, one clear sentence when it cannot be done.
import { say } from "./words.js";

// Said here, because the server tells a stranger nothing.
const PLAIN = {
  401: "signed_out",
  403: "signed_out",
  404: "erased_meanwhile",
};

export class Refusal extends Error {
  constructor(status, answer) {
    super(PLAIN[status] ? say(PLAIN[status]) : (answer?.detail ?? sentenceOf(answer) ?? say("no_answer")));
    this.status = status;
    this.answer = answer ?? {};
  }
}

function sentenceOf(answer) {
  if (!answer || typeof answer !== "object") return null;
  const first = Object.values(answer).flat()[0];
  return typeof first === "string" ? first : null;
}

export function token() {
  return document.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";
}

export async function get(url) {
  return answerOf(await fetch(url, { headers: { Accept: "application/json" } }));
}

export async function fragment(url) {
  const response = await fetch(url, { headers: { "X-Fragment": "1" } });
  if (!response.ok) throw new Refusal(response.status, null);
  return response.text();
}

export async function post(url, body = {}, options = {}) {
  const response = await fetch(url, {
    method: "POST",
    headers: {
      Accept: "application/json",
      "Content-Type": "application/json",
      "X-CSRFToken": token(),
    },
    body: JSON.stringify(body),
    ...options,
  });
  return answerOf(response);
}

async function answerOf(response) {
  const text = await response.text();
  let answer = null;
  try {
    answer = text ? JSON.parse(text) : {};
  } catch {
    // An answer that is no JSON is told of by its status alone.
  }
  if (!response.ok) throw new Refusal(response.status, answer);
  return answer;
}

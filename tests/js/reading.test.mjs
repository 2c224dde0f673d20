import assert from "node:assert/strict";
import { test } from "node:test";
import { filesIn, importsIn, picturesIn, worthKeeping } from "../../static/js/offline/reading.js";

test("requests, drills, answers and verdicts are kept, once each; nothing else", () => {
  const here = ["/mine/3/", "/drill/5/", "/drill/5/#what", "/review/2/?from=home", "/you/sessions/", "/media/3/copy", "https://elsewhere/students/3/", "/clips/4/"];
  assert.deepEqual(worthKeeping(here), ["/mine/3/", "/drill/5/", "/drill/5/practise/", "/review/2/"]);
  assert.equal(worthKeeping(Array.from({ length: 90 }, (_, n) => `/film/${n + 1}/`)).length, 16);
});

test("a page's pictures are its stills and drawings; no film and no voice", () => {
  const html = `<img loading="lazy"
    src="/review/video/4/still?event=top&amp;rep=0&amp;size=still" alt=""><img src="/static/drills/a-1.svg">
    <video src="/media/4/copy" poster="/media/4/still"></video><audio src="/media/4/voice"></audio>
    <img src="/static/drills/a-1.svg"><img src="/studio/1/logo.png?3">`;
  assert.deepEqual(picturesIn(html), ["/review/video/4/still?event=top&rep=0&size=still", "/static/drills/a-1.svg", "/media/4/still", "/studio/1/logo.png?3"]);
});

test("what a page works with is found, and what that begins with loading", () => {
  const html = `<link rel="icon" href="/static/icon.svg"><link rel="stylesheet" href="/static/css/base.css">
    <script type="module"\n src="/static/js/a.js"></script>`;
  assert.deepEqual(filesIn(html), ["/static/css/base.css", "/static/js/a.js"]);
  const script = `// import "./no.js"
import { a } from "../b.js";
import {
  c,
} from "./d.js";
import "./e.js";
export { f } from "./g.js";
const later = () => import("./h.js");`;
  assert.deepEqual(importsIn(script), ["../b.js", "./d.js", "./e.js", "./g.js"]);
});

// <still-marks data-marks='[…]'>: a coach's lines over one still picture.
import { Ink } from "./ink.js";
import { strokes } from "./marks.js";
import { WHOLE } from "./geometry.js";

class StillMarks extends HTMLElement {
  connectedCallback() {
    const picture = this.querySelector("img");
    const draw = () => {
      if (this.querySelector("svg") || !picture.naturalWidth) return;
      const aspect = picture.naturalWidth / picture.naturalHeight;
      const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      svg.setAttribute("class", "ink");
      svg.setAttribute("viewBox", `0 0 ${1000 * aspect} 1000`);
      svg.setAttribute("aria-hidden", "true");
      this.append(svg);
      const ink = new Ink({ ink: svg, aspect, view: WHOLE }, "drawn");
      for (const mark of JSON.parse(this.dataset.marks)) ink.draw(strokes(mark, aspect), mark.wanted ? "wanted" : "");
    };
    picture.addEventListener("load", draw);
    draw();
  }
}

customElements.define("still-marks", StillMarks);

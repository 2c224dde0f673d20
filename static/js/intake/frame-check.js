// <frame-check>: shows the camera's picture with an outline of where to stand, and says, one thing
// at a time, how to move the phone. Nothing is recorded and nothing leaves the phone.
import { PoseLandmarker } from "../../vendor/tasks-vision.js";
import { instruction, steady } from "./framing.js";

const EVERY = 250; // milliseconds between looks

class FrameCheck extends HTMLElement {
  connectedCallback() {
    if (!isSecureContext || !navigator.mediaDevices?.getUserMedia) return;
    this.dialog = this.querySelector("dialog");
    this.video = this.querySelector("video");
    this.told = this.querySelector("[role=status]");
    this.querySelector("[data-act=open]").addEventListener("click", () => this.open());
    this.querySelector("[data-act=close]").addEventListener("click", () => this.dialog.close());
    this.dialog.addEventListener("close", () => this.stop());
    this.hidden = false;
  }

  disconnectedCallback() { this.stop(); }

  say(name) {
    this.told.dataset.says = name;
    this.told.textContent = this.querySelector("template").content.querySelector(`[data-for="${name}"]`).textContent;
    speechSynthesis?.cancel();
    if (name !== "loading") speechSynthesis?.speak(Object.assign(new SpeechSynthesisUtterance(this.told.textContent), { lang: document.documentElement.lang }));
  }

  async open() {
    this.dialog.showModal();
    this.say("loading");
    this.running = true;
    try {
      const picture = { facingMode: "environment", width: { ideal: 720 }, height: { ideal: 1280 } };
      this.stream = await navigator.mediaDevices.getUserMedia({ video: picture, audio: false });
      this.video.srcObject = this.stream;
      await this.video.play();
    } catch {
      return this.say("no_camera");
    }
    try {
      this.network ??= await this.load();
    } catch {
      return this.say("no_network");
    }
    if (!this.running) return this.stop();
    this.steady = steady();
    this.look();
  }

  load() {
    const { loader, binary, model } = this.dataset;
    return PoseLandmarker.createFromOptions(
      { wasmLoaderPath: loader, wasmBinaryPath: binary },
      { baseOptions: { modelAssetPath: model }, runningMode: "VIDEO", numPoses: 1 },
    );
  }

  look() {
    if (!this.running) return;
    const { videoWidth: width, videoHeight: height } = this.video;
    if (width) {
      const { landmarks } = this.network.detectForVideo(this.video, performance.now());
      const now = this.steady(instruction(landmarks[0], { view: this.dataset.view, width, height }));
      if (now) this.say(now);
    }
    this.timer = setTimeout(() => this.look(), EVERY);
  }

  stop() {
    this.running = false;
    clearTimeout(this.timer);
    speechSynthesis?.cancel();
    this.stream?.getTracks().forEach((track) => track.stop());
    this.video.srcObject = null;
  }
}

customElements.define("frame-check", FrameCheck);

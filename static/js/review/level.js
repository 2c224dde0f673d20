// How loud a microphone is, ten times a second: whoever speaks sees that they are heard.

const EVERY_MS = 100;
const QUIET_DB = -60;

export class Level {
  /** @param {MediaStream} stream @param {(share: number) => void} tell told 0 (quiet) to 1 (as loud as can be) */
  constructor(stream, tell) {
    this.context = new AudioContext();
    const listen = this.context.createAnalyser();
    this.context.createMediaStreamSource(stream).connect(listen);
    const samples = new Float32Array(listen.fftSize);
    this.timer = setInterval(() => {
      listen.getFloatTimeDomainData(samples);
      tell(share(samples));
    }, EVERY_MS);
  }

  end() {
    clearInterval(this.timer);
    this.context.close().catch(() => {});
  }
}

/** The root mean square of samples in -1..1, in decibels, as a share from quiet to full. */
export function share(samples) {
  let sum = 0;
  for (const sample of samples) sum += sample * sample;
  const loud = 10 * Math.log10(sum / samples.length || 1e-12);
  return Math.max(0, Math.min(1, 1 - loud / QUIET_DB));
}

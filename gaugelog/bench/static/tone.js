// A tone to sand by: it rises as the target nears and holds still inside the band. Off until asked for, and remembered.
const KEY = "gaugelog-sound";

export class Tone {
  constructor() { this.on = localStorage.getItem(KEY) === "on"; this.context = null; }

  toggle() {
    this.on = !this.on;
    localStorage.setItem(KEY, this.on ? "on" : "off");
    if (!this.on) this.silence();
    return this.on;
  }

  silence() { if (this.gain) this.gain.gain.setTargetAtTime(0, this.context.currentTime, 0.03); }

  start() {
    this.context = new AudioContext();
    this.gain = new GainNode(this.context, { gain: 0 });
    this.voice = new OscillatorNode(this.context, { type: "triangle", frequency: 220 });
    this.voice.connect(this.gain).connect(this.context.destination);
    this.voice.start();
  }

  // `off` and `band` in the same unit; no sound without a target
  sound(off, band, inside, live) {
    if (!this.on || off === null || !live) { this.silence(); return; }
    if (!this.context) this.start();
    const near = inside ? 1 : 1 / (1 + Math.abs(off) / Math.max(band ?? 0, 1e-9) / 3);
    this.voice.frequency.setTargetAtTime(inside ? 880 : 220 + 560 * near, this.context.currentTime, 0.04);
    this.gain.gain.setTargetAtTime(0.12, this.context.currentTime, 0.05);
  }
}

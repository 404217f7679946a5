// The sanding page: the reading as large as the screen allows, how far to go and which way, and the last passes.
import { ask } from "/static/live.js";
import { Tone } from "/static/tone.js";

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const LEVEL = 75;

export class Sanding {
  constructor(say) {
    this.say = say;
    this.tone = new Tone();
    this.showSound();
    $("sand").addEventListener("submit", (event) => { event.preventDefault(); this.begin(); });
    $("pass").addEventListener("click", () => this.do("pass"));
    $("zero").addEventListener("click", () => this.do("zero"));
    $("sand-end").addEventListener("click", () => this.do("end"));
    $("sound").addEventListener("click", () => { this.tone.toggle(); this.showSound(); });
  }

  async do(action) { this.say(await ask({ do: action })); }

  async begin() {
    const told = { do: "sand", gauge: $("sand-gauge").value, target: $("sand-target").value, within: $("sand-within").value };
    this.say(await ask(told));
  }

  key(key) {
    if (key === " " || key === "Enter" || key === "PageDown") this.do("pass");
    else if (key === "z") this.do("zero");
    else return false;
    return true;
  }

  gauges(names) {
    const choice = $("sand-gauge");
    if ([...choice.options].map((each) => each.value).join() === names.join()) return;
    choice.replaceChildren(...names.map((name) => new Option(name, name)));
  }

  showSound() {
    $("sound").setAttribute("aria-pressed", String(this.tone.on));
    $("sound").textContent = this.tone.on ? "Sound on" : "Sound off";
  }

  show(told, old) {
    const live = told?.live && !old;
    const figures = $("figures");
    figures.textContent = told?.figures == null ? "–" : `${told.figures}${told.symbol === "°" ? "°" : ""}`;
    figures.setAttribute("aria-label", told?.figures == null ? "no reading" : `${told.figures} ${told.symbol}`);
    figures.classList.toggle("old", !live);
    figures.classList.toggle("inside", Boolean(told?.inside && live));
    figures.dataset.length = String(Math.max(figures.textContent.length, 4));
    $("way").textContent = !told ? "Choose a gauge to sand by." : !live ? "no live reading" : told.way;
    $("left").textContent = told?.left ?? "";
    $("passes").replaceChildren(...(told?.passes ?? []).map((each) => {
      const item = document.createElement("li");
      item.value = each.number;
      item.textContent = each.change ? `${each.value}  (${each.change})` : each.value;
      return item;
    }));
    this.draw(told, live);
    this.tone.sound(told?.off ?? null, told?.band ?? null, Boolean(told?.inside), live);
  }

  // the block against the surface: level when the reading meets its target, tipped the way it is off; the band as a lane
  draw(told, live) {
    const drawing = $("drawing");
    drawing.replaceChildren();
    if (!told || told.off === null || !told.band) return;
    const tip = Math.max(-1, Math.min(1, told.off / (told.band * 6)));
    const line = (x1, y1, x2, y2, kind) => {
      const drawn = document.createElementNS(SVG, "line");
      Object.entries({ x1, y1, x2, y2, class: kind }).forEach(([name, value]) => drawn.setAttribute(name, value));
      drawing.append(drawn);
    };
    const lane = (60 * 1) / 6;
    const band = document.createElementNS(SVG, "rect");
    Object.entries({ x: 20, y: LEVEL - lane, width: 560, height: 2 * lane, class: "band" })
      .forEach(([name, value]) => band.setAttribute(name, value));
    drawing.append(band);
    line(20, LEVEL, 580, LEVEL, "target");
    line(60, LEVEL + 60 * tip, 540, LEVEL - 60 * tip, told.inside && live ? "block inside" : "block");
    const high = told.off > 0 ? 540 : 60;
    if (!told.inside) line(high, LEVEL - 60 * Math.abs(tip) - 6, high, LEVEL - 60 * Math.abs(tip) - 34, "go");
  }
}

// The clamps page: alarms that can't be overlooked, marks by one touch, gauges against the start.
import { ask } from "/static/live.js";

const $ = (id) => document.getElementById(id);
const DRAWN_EVERY_MS = 2000;
const KEYS = { g: "glue on", c: "clamps on", f: "clamps off" };

const element = (name, text, kind = "") => {
  const made = document.createElement(name);
  made.textContent = text;
  if (kind) made.className = kind;
  return made;
};

export class Clamps {
  constructor(say) {
    this.say = say;
    this.called = 0;
    this.going = false;
    this.drawing = false;
    setInterval(() => this.draw(), DRAWN_EVERY_MS);
    new ResizeObserver(() => this.draw()).observe($("clamps"));
    $("clamp").addEventListener("click", () => this.do({ do: "clamp" }));
    $("clamp-end").addEventListener("click", () => this.do({ do: "end" }));
    document.querySelectorAll(".mark").forEach((button) =>
      button.addEventListener("click", () => this.do({ do: "mark", name: button.dataset.mark })));
    $("chart-look").addEventListener("click", () => {
      $("chart").hidden = false;
      $("chart").src = `/chart?at=${Date.now()}`;
    });
    $("wet").addEventListener("click", () => this.do({ do: "snapshot", stage: "wet" }));
    $("spot").addEventListener("submit", async (event) => {
      event.preventDefault();
      await this.do({ do: "spot", checkpoint: $("spot-checkpoint").value, value: $("spot-value").value });
      $("spot-value").value = "";
    });
    $("note").addEventListener("submit", async (event) => {
      event.preventDefault();
      await this.do({ do: "note", words: $("note-words").value });
      $("note-words").value = "";
    });
  }

  async do(what) { this.say(await ask(what)); }

  checkpoints(names) {
    if ([...$("spot-checkpoint").options].map((each) => each.value).join() === names.join()) return;
    $("spot-checkpoint").replaceChildren(...names.map((name) => new Option(name, name)));
  }

  key(key) {
    if (key === "a") this.do({ do: "acknowledge" });
    else if (key in KEYS) this.do({ do: "mark", name: KEYS[key] });
    else return false;
    return true;
  }

  turned() { this.draw(); }

  // the bench draws; a picture that can't be had stays, and the page says by itself that it is old
  async draw() {
    if (!this.going || this.drawing || document.hidden || $("clamps").hidden) return;
    this.drawing = true;
    try {
      const answer = await fetch(`/trail?width=${Math.round($("clamps").clientWidth)}`);
      if (answer.status !== 200) return;
      const drawn = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
      $("trail").replaceChildren(document.importNode(drawn, true));
      $("trail").hidden = !this.going;
    } catch { /* asked again */ } finally { this.drawing = false; }
  }

  show(told, old, gauges) {
    const begun = Boolean(told) && !this.going;
    this.going = Boolean(told);
    $("trail").classList.toggle("old", old);
    if (!told) $("trail").hidden = true;
    if (begun) this.draw();
    const latest = new Map(gauges.map((each) => [each.name, each.value]));
    const calling = (told?.alarms ?? []).filter((each) => each.calls);
    document.body.classList.toggle("calling", calling.length > 0);
    if (calling.length !== this.called) {
      this.called = calling.length;
      $("alarms").replaceChildren(...calling.map((each) => element("p", `${each.head}: ${each.words}`, "alarm")));
      if (calling.length) {
        const seen = element("button", "I have seen it", "seen");
        seen.addEventListener("click", () => this.do({ do: "acknowledge" }));
        $("alarms").append(seen);
      }
    }
    $("clamp").hidden = Boolean(told);
    $("phase").textContent = told ? told.phase : "Nothing is being recorded.";
    $("times").textContent = (told?.times ?? []).join(" · ");
    $("gauges").replaceChildren(...(told?.gauges ?? []).map((each) => {
      const row = document.createElement("tr");
      const cells = [latest.get(each.name) ?? "–", each.change ?? "–", old ? "old" : each.link];
      const head = element("th", each.name);
      head.scope = "row";
      row.append(head, ...cells.map((text) => element("td", text, old ? "old" : "")));
      return row;
    }));
    $("marks").replaceChildren(...(told?.marks ?? []).toReversed().map((each) =>
      element("li", `${new Date(each.time).toLocaleTimeString([], { hourCycle: "h23" })}  ${each.words || each.kind}`)));
  }
}

// The clamps page: alarms that can't be overlooked, marks by one touch, gauges against the start.
import { ask } from "/static/live.js";

const $ = (id) => document.getElementById(id);
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

  show(told, old, gauges) {
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
      const cells = [latest.get(each.name) ?? "–", each.change ?? "–", old ? "old" : each.link ?? ""];
      const head = element("th", each.name);
      head.scope = "row";
      row.append(head, ...cells.map((text) => element("td", text, old ? "old" : "")));
      return row;
    }));
    $("marks").replaceChildren(...(told?.marks ?? []).toReversed().map((each) =>
      element("li", `${new Date(each.time).toLocaleTimeString()}  ${each.words || each.kind}`)));
  }
}

// The snapshot page: the checkpoints with their state, the next one with its words, the placement taken by itself.
import { ask } from "/static/live.js";

const $ = (id) => document.getElementById(id);
const element = (name, text, kind = "") => {
  const made = document.createElement(name);
  made.textContent = text;
  if (kind) made.className = kind;
  return made;
};

export class Snapshot {
  constructor(say) {
    this.say = say;
    this.taken = null;
    $("begin-snapshot").addEventListener("submit", (event) => { event.preventDefault(); this.begin(event); });
    $("type-in").addEventListener("submit", async (event) => {
      event.preventDefault();
      this.say(await ask({ do: "type", value: $("typed").value }));
      $("typed").value = "";
    });
    for (const action of ["take", "lifted", "drop", "redo"]) $(action).addEventListener("click", () => this.do({ do: action }));
    $("skip").addEventListener("click", () => {
      const reason = prompt("Why is it skipped?");
      if (reason) this.do({ do: "skip", reason });
    });
    $("snapshot-end").addEventListener("click", () => this.do({ do: "end" }));
  }

  async do(what) { this.say(await ask(what)); }

  begin(event) {
    this.do({ do: "snapshot", stage: $("stage").value, again: event.submitter?.id === "again" });
  }

  key(key) {
    if (key === "Enter") this.do({ do: "take" });
    else if (key === " " || key === "PageDown") this.do({ do: "lifted" });
    else if (key === "d") this.do({ do: "drop" });
    else if (/^[0-9.,<>-]$/.test(key)) { $("typed").focus(); $("typed").value = key; }
    else return false;
    return true;
  }

  stages(names) {
    if ([...$("stage").options].map((each) => each.value).join() === names.join()) return;
    $("stage").replaceChildren(...names.map((name) => new Option(name, name)));
  }

  show(told, count, old) {
    $("begin-snapshot").hidden = Boolean(told);
    $("taking").hidden = !told;
    if (this.taken !== null && count > this.taken) this.flash();
    this.taken = count;
    if (!told) return;
    this.showNow(told.now, old, told.complete);
    $("tasks").replaceChildren(...told.tasks.map((task) => {
      const item = element("li", "", task.current ? "current" : "");
      const button = element("button", `${task.skipped !== null ? "–" : task.taken >= task.wanted ? "✓" : "·"} ${task.id}`);
      button.addEventListener("click", () => this.do({ do: "turn", checkpoint: task.id }));
      if (task.current) button.setAttribute("aria-current", "step");
      const words = [`${task.taken} of ${task.wanted}`, task.values.join("  "), task.spread && `spread ${task.spread}`,
        task.tolerance, task.verdict, task.skipped && `skipped: ${task.skipped}`].filter(Boolean).join(" · ");
      item.append(button, element("span", words, task.out ? "out" : ""));
      return item;
    }));
  }

  showNow(now, old, complete) {
    $("now-id").textContent = now ? now.id : complete ? "Nothing is missing." : "";
    $("now-todo").textContent = now?.todo ?? "";
    $("now-where").textContent = now?.where ?? "";
    const drawing = now?.drawn ? `/place/${encodeURIComponent(now.id)}` : "";
    if ($("now-place").getAttribute("src") !== drawing) $("now-place").setAttribute("src", drawing);
    $("now-place").hidden = !drawing;
    $("now-reading").textContent = now?.reading ?? (now && !now.typed ? "–" : "");
    $("now-reading").classList.toggle("old", old);
    $("now-rest").value = now?.progress ?? 0;
    $("now-rest").hidden = !now || now.typed;
    for (const id of ["take", "lifted"]) $(id).hidden = !now || now.typed;
  }

  flash() {
    document.body.classList.add("took");
    setTimeout(() => document.body.classList.remove("took"), 500);
    this.context ??= new AudioContext();
    const gain = new GainNode(this.context, { gain: 0.15 });
    const voice = new OscillatorNode(this.context, { frequency: 880 });
    voice.connect(gain).connect(this.context.destination);
    voice.start();
    voice.stop(this.context.currentTime + 0.12);
  }
}

// What the bench says, as it says it: one stream of events, opened anew when it breaks, and whether what is shown is old.
const OLD_AFTER_MS = 2500;

export class Live {
  constructor(onState, onReading, onAge) {
    Object.assign(this, { onState, onReading, onAge, heardAt: 0, source: null });
    this.open();
    setInterval(() => this.look(), 500);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.look(true); });
    addEventListener("online", () => this.look(true));
  }

  open() {
    this.source?.close();
    this.openedAt = performance.now();
    this.source = new EventSource("/events");
    const heard = (take) => (event) => { this.heardAt = performance.now(); take(JSON.parse(event.data)); this.tell(); };
    this.source.addEventListener("state", heard((data) => this.onState(data)));
    this.source.addEventListener("reading", heard((data) => this.onReading(data)));
    this.source.addEventListener("beat", heard(() => {}));
  }

  get age() { return this.heardAt ? performance.now() - this.heardAt : Infinity; }

  // a tablet that slept has an old page and a dead stream: open it anew instead of waiting for the system to notice
  look(awake = false) {
    const waited = performance.now() - this.openedAt;
    if (this.age > OLD_AFTER_MS && (awake || waited > 3000)) this.open();
    this.tell();
  }

  tell() { this.onAge(this.age > OLD_AFTER_MS ? this.age : 0); }
}

export async function ask(what) {
  try {
    const answer = await fetch("/do", {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(what),
    });
    const told = await answer.json();
    return told.error ?? told.said ?? "";
  } catch {
    return "The bench's computer can't be reached: nothing was done. Look whether gaugelog still runs there.";
  }
}

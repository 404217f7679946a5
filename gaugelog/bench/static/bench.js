// The bench page: shows what the bench says and asks it for what is pressed. It works nothing out by itself.
import { Live } from "/static/live.js";
import { Clamps } from "/static/clamps.js";
import { Outcome } from "/static/outcome.js";
import { Sanding } from "/static/sanding.js";
import { Snapshot } from "/static/snapshot.js";

const $ = (id) => document.getElementById(id);
const say = (words) => { $("said").textContent = words; };
const pages = { sanding: new Sanding(say), snapshot: new Snapshot(say), clamps: new Clamps(say), outcome: new Outcome() };
let state = null;
let old = 0;
let shown = "sanding";

function turnTo(name) {
  shown = name;
  for (const each of Object.keys(pages)) {
    $(each).hidden = each !== name;
    $(`tab-${each}`).setAttribute("aria-pressed", String(each === name));
  }
  pages[name].turned?.();
}

function show() {
  if (!state) return;
  $("instrument").textContent = state.instrument;
  $("simulated").textContent = state.simulated;
  pages.sanding.gauges(state.gauges.map((each) => each.name));
  pages.sanding.show(state.sanding, old > 0);
  pages.snapshot.stages(state.stages);
  pages.snapshot.show(state.snapshot, state.taken, old > 0);
  pages.clamps.checkpoints(state.checkpoints);
  pages.clamps.show(state.clamps, old > 0, state.gauges);
}

function onAge(age) {
  const was = old;
  old = age;
  $("stale").hidden = age === 0;
  if (age > 0) {
    const since = Number.isFinite(age) ? `What is shown is ${Math.round(age / 1000)} s old` : "Nothing was heard yet";
    $("stale").textContent = `${since}: the bench's computer can't be reached. It is tried again by itself.`;
  }
  if ((was > 0) !== (age > 0)) show();
}

new Live(
  (told) => {
    const doing = told.clamps && told.snapshot ? "snapshot" : told.doing;
    const was = state && (state.clamps && state.snapshot ? "snapshot" : state.doing);
    state = told;
    if (doing && doing !== was) turnTo(doing);
    if (told.message) say(told.message);
    show();
  },
  (told) => {
    if (!state) return;
    const fresh = new Map(told.gauges.map((each) => [each.name, each]));
    state.gauges = state.gauges.map((each) => fresh.get(each.name) ?? each);
    if (told.sanding) state.sanding = told.sanding;
    if (told.clamps) state.clamps = told.clamps;
    if (told.now && state.snapshot) state.snapshot.now = told.now;
    show();
  },
  onAge,
);

Object.keys(pages).forEach((name) => $(`tab-${name}`).addEventListener("click", () => turnTo(name)));

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.target.matches("input, select, textarea") || (event.target.matches("button") && [" ", "Enter"].includes(event.key))) return;
  if (pages[shown].key(event.key)) event.preventDefault();
});

// the screen stays awake where the browser lets a page ask for it, which it does on loopback and over https only
async function stayAwake() {
  if (!("wakeLock" in navigator)) {
    $("awake").textContent = "This browser can't keep the screen awake for this page: set the tablet's own screen time-out to never.";
    return;
  }
  try { await navigator.wakeLock.request("screen"); } catch { /* asked again when the page is looked at */ }
}
document.addEventListener("visibilitychange", () => { if (!document.hidden) stayAwake(); });
stayAwake();

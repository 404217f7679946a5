// The outcome page: what the report shows, as the recording stands when it is looked at.
const $ = (id) => document.getElementById(id);

export class Outcome {
  constructor() { $("report-again").addEventListener("click", () => this.load()); }

  load() { $("report").src = `/report?at=${Date.now()}`; }

  key() { return false; }

  show() {}

  turned() { if (!$("report").getAttribute("src")) this.load(); }
}

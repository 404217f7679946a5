// Draws the chart of a clamp session finer where it is zoomed into, from the spans that its page holds.
//
// Here: unpacking them, choosing those of a window, handing them to plotly. Not here: making or packing them
// (drift_detail.py). It asks the network for nothing. Times are milliseconds of local time, counted as if it were UTC.
(function () {
  "use strict";

  const KINDS = { u2: Uint16Array, u4: Uint32Array, f8: Float64Array };
  const MARKERS_BELOW = 60;
  const WHOLE_LEAN = 65535;

  function bytesOf(text) {
    return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
  }

  function numbersOf(packed) {
    const ticks = new KINDS[packed.type](bytesOf(packed.data));
    return Float64Array.from(ticks, (tick) => packed.from + packed.step * tick);
  }

  // One run of spans: their times, lowest, highest and mean values, and how many readings each holds.
  function runOf(told) {
    const time = numbersOf(told.apart);
    let at = told.start;
    for (let place = 0; place < time.length; place += 1) {
      at += time[place];
      time[place] = at;
    }
    if (told.mean) {
      const mean = numbersOf(told.mean);
      return { time, low: mean, high: mean, mean, count: new Float64Array(mean.length).fill(1), single: true };
    }
    const low = numbersOf(told.low);
    const high = numbersOf(told.high);
    const lean = new Uint16Array(bytesOf(told.lean));
    const mean = low.map((value, place) => value + ((high[place] - value) * lean[place]) / WHOLE_LEAN);
    return { time, low, high, mean, count: numbersOf(told.count), single: false };
  }

  // The first place at which `times` is not below `wanted`.
  function placeOf(times, wanted) {
    let low = 0;
    let high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] < wanted) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  // The spans of a run that a window shows, and one more at each side, so that lines go on to its edges.
  function within(run, window) {
    const first = Math.max(placeOf(run.time, window.start) - 1, 0);
    const behind = Math.min(placeOf(run.time, window.end) + 1, run.time.length);
    const seen = run.time[behind - 1] >= window.start && run.time[first] <= window.end;
    return { run, first, behind: seen ? behind : first };
  }

  // The spans of a part put together into at most so many of equal time.
  function gathered(part, width) {
    const found = { time: [], low: [], high: [], mean: [] };
    let ends = -Infinity;
    let count = 0;
    let began = 0;
    const last = () => found.time.length - 1;
    for (let place = part.first; place < part.behind; place += 1) {
      const { time, low, high, mean, count: counts } = part.run;
      if (time[place] >= ends) {
        ends = width > 0 ? (Math.floor(time[place] / width) + 1) * width : time[place];
        began = time[place];
        count = 0;
        found.time.push(0);
        found.low.push(Infinity);
        found.high.push(-Infinity);
        found.mean.push(0);
      }
      const to = last();
      found.time[to] = (began + time[place]) / 2;
      found.low[to] = Math.min(found.low[to], low[place]);
      found.high[to] = Math.max(found.high[to], high[place]);
      found.mean[to] += ((mean[place] - found.mean[to]) * counts[place]) / (count + counts[place]);
      count += counts[place];
    }
    return found;
  }

  // What plotly draws: the line, and the band where there is one to draw.
  function traces(place, window) {
    const parts = place.runs.map((run) => within(run, window)).filter((part) => part.behind > part.first);
    const spans = parts.reduce((sum, part) => sum + part.behind - part.first, 0);
    const most = place.spans;
    const width = spans > 2 * most ? (window.end - window.start) / most : 0;
    const single = width === 0 && parts.every((part) => part.run.single);
    const line = { x: [], y: [], customdata: [], mode: single && spans < MARKERS_BELOW ? "lines+markers" : "lines" };
    const band = { x: [], y: [], customdata: null, mode: "lines" };
    const drawn = (value) => (value - place.zero) / place.divisor;
    for (const part of parts) {
      const found = gathered(part, width);
      const times = found.time.map((time) => new Date(time).toISOString().slice(0, 23));
      line.x.push(...times, null);
      line.y.push(...found.mean.map(drawn), null);
      line.customdata.push(...found.mean.map((value) => value / place.divisor), null);
      if (!single) {
        band.x.push(...times, ...times.slice().reverse(), null);
        band.y.push(...found.high.map(drawn), ...found.low.reverse().map(drawn), null);
      }
    }
    return { line, band, spanMs: single ? 0 : Math.max(width, longestSpan(parts)) };
  }

  // The longest span of parts, as far as they are spans of readings put together.
  function longestSpan(parts) {
    const apart = parts
      .filter((part) => !part.run.single && part.behind - part.first > 1)
      .map((part) => (part.run.time[part.behind - 1] - part.run.time[part.first]) / (part.behind - part.first - 1));
    return Math.max(0, ...apart);
  }

  // A moment as plotly writes it: a number, or a date that may stop anywhere behind the day.
  function momentOf(written) {
    if (typeof written === "number") return written;
    const parts = String(written).split(/[-T :]/).map(Number);
    const [year, month, day, hour = 0, minute = 0, second = 0] = parts;
    return Date.UTC(year, month - 1, day, hour, minute) + second * 1000;
  }

  function windowOf(chart, axis) {
    const [start, end] = chart.layout[axis].range.map(momentOf);
    return { start: Math.min(start, end), end: Math.max(start, end) };
  }

  // How long something lasts, in words.
  function lasting(ms) {
    if (ms < 1000) return Math.round(ms) + "\u00a0ms";
    if (ms < 10000) return (ms / 1000).toFixed(1) + "\u00a0s";
    return ms < 120000 ? Math.round(ms / 1000) + "\u00a0s" : Math.round(ms / 60000) + "\u00a0min";
  }

  // What is drawn where the chart is zoomed into, told below it.
  function words(places) {
    const zoomed = places.filter((place) => place.shown !== "whole");
    if (zoomed.length === 0) return "";
    const longest = Math.max(...zoomed.map((place) => place.spanMs));
    if (longest === 0) return "Drawn here: every reading.";
    return "Drawn here: spans of up to " + lasting(longest) + ", each from its lowest to its highest reading.";
  }

  function zoomable(chart) {
    const detail = chart.layout.meta.detail;
    const told = chart.closest("figure").querySelector(".drawn");
    const places = detail.places.map((told) => ({
      ...told,
      runs: null,
      packed: told.runs,
      spans: Math.max(Math.round(detail.spans * told.share), 2),
      whole: windowOf(chart, told.axis),
      shown: "whole",
      spanMs: 0,
      first: [told.line, told.band].map((trace) => {
        const { x, y, customdata = null, mode } = chart.data[trace];
        return { x, y, customdata, mode };
      }),
    }));

    function redraw() {
      const changed = { traces: [], x: [], y: [], customdata: [], mode: [] };
      for (const place of places) {
        const window = windowOf(chart, place.axis);
        const whole = window.start <= place.whole.start && window.end >= place.whole.end;
        const shown = whole ? "whole" : window.start + ".." + window.end;
        if (shown === place.shown) continue;
        place.shown = shown;
        if (!whole && !place.runs) place.runs = place.packed.map(runOf);
        const found = whole ? { line: place.first[0], band: place.first[1], spanMs: 0 } : traces(place, window);
        place.spanMs = found.spanMs;
        for (const name of ["line", "band"]) {
          changed.traces.push(place[name]);
          for (const key of ["x", "y", "customdata", "mode"]) changed[key].push(found[name][key]);
        }
      }
      if (changed.traces.length === 0) return;
      const { traces: numbers, ...arrays } = changed;
      window.Plotly.restyle(chart, arrays, numbers);
      if (told) told.textContent = words(places);
    }

    chart.on("plotly_relayout", redraw);
  }

  for (const chart of document.querySelectorAll("figure.chart .plotly-graph-div")) {
    const ready = chart.layout && chart.layout.meta && chart.layout.meta.detail && !chart.dataset.zoomable;
    if (ready) {
      chart.dataset.zoomable = "yes";
      zoomable(chart);
    }
  }
})();

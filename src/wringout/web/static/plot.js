// Plots of a log that can be zoomed by finger, mouse or button, one for each unit, zoomed together.
"use strict";
(() => {
  const two = (n) => String(n).padStart(2, "0");
  const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
  // the log's own clock, wherever the phone is
  const clock = (t) => { const d = new Date(t * 1000); return `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}`; };
  const day = (t) => { const d = new Date(t * 1000); return `${two(d.getUTCDate())} ${MONTHS[d.getUTCMonth()]}`; };
  const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3], [1, 5]];

  function draw() {
    const box = document.getElementById("plots");
    if (!box || box.dataset.drawn || !window.uPlot) return;
    box.dataset.drawn = "1";
    const began = Date.now();
    const ask = () => fetch(box.dataset.series).then((r) => {
      if (r.status !== 503) return r.json();
      box.textContent = `Reading the log for the plots, ${Math.round((Date.now() - began) / 1000)} s so far`;
      return new Promise((done) => setTimeout(done, 1000)).then(ask);
    });
    ask().then(({ time, series }) => show(box, time, series)).catch(() => { box.textContent = "The plots need a connection."; });
  }

  function show(box, time, series) {
    const first = time[0], last = time[time.length - 1], plots = [], units = new Map();
    box.textContent = "";
    for (const s of series) units.set(s.unit, [...(units.get(s.unit) || []), s]);

    const row = document.createElement("div"), said = document.createElement("p");
    row.className = "zoom";
    said.setAttribute("role", "status");
    let now = [first, last];
    function look(a, b) {
      const long = Math.min(Math.max(b - a, 600), last - first);
      a = Math.min(Math.max(a, first), last - long);
      now = [a, a + long];
      for (const p of plots) p.setScale("x", { min: now[0], max: now[1] });
    }
    const tell = () => { said.textContent = `${day(now[0])}, ${clock(now[0])} to ${day(now[1])}, ${clock(now[1])}`; };
    for (const [words, act] of [
      ["Earlier", (a, b) => look(a - (b - a) / 2, b - (b - a) / 2)], ["Later", (a, b) => look(a + (b - a) / 2, b + (b - a) / 2)],
      ["Closer", (a, b) => look(a + (b - a) / 4, b - (b - a) / 4)], ["Wider", (a, b) => look(a - (b - a) / 2, b + (b - a) / 2)],
      ["All", () => look(first, last)],
    ]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = words;
      button.onclick = () => act(...now);
      row.append(button);
    }
    box.append(row, said);

    const sync = uPlot.sync("log");
    for (const [unit, lines] of units) {
      const head = document.createElement("h3"), at = document.createElement("div");
      head.textContent = unit === "count" ? "number" : unit;
      at.className = "plot";
      box.append(head, at);
      const p = new uPlot({
        width: Math.max(box.clientWidth, 280), height: 230, tzDate: (t) => uPlot.tzDate(new Date(t * 1000), "UTC"),
        cursor: { sync: { key: sync.key, setSeries: false }, drag: { x: true, y: false } },
        scales: { x: { time: true } },
        axes: [{ space: 56, values: (u, ticks) => ticks.map((t, k) => (k === 0 || day(t) !== day(ticks[k - 1]) ? `${clock(t)}\n${day(t)}` : clock(t))) }, { size: 56 }],
        series: [{ label: "At", value: (u, t) => (t == null ? "–" : `${day(t)}, ${clock(t)}`) },
          ...lines.map((s, k) => ({ label: s.words, stroke: "#000", width: 1 + 0.5 * (k % 2), dash: DASHES[k % 5], spanGaps: false }))],
        hooks: { setScale: [(u, key) => { if (key === "x") { now = [u.scales.x.min, u.scales.x.max]; tell(); } }] },
      }, [time, ...lines.map((s) => s.values)], at);
      plots.push(p);
      // the stroke of each line beside its name, not a box that would be the same for all
      at.querySelectorAll(".u-series .u-marker").forEach((mark, k) => {
        if (!k) { mark.remove(); return; }
        const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg"), line = document.createElementNS(svg.namespaceURI, "path");
        svg.setAttribute("viewBox", "0 0 36 8");
        svg.setAttribute("class", "stroke");
        line.setAttribute("d", "M0 4H36");
        line.setAttribute("stroke-dasharray", DASHES[(k - 1) % 5].join(" ") || "none");
        svg.append(line);
        mark.replaceWith(svg);
      });
      touch(p, look);
    }
    tell();
    addEventListener("resize", () => { for (const p of plots) p.setSize({ width: Math.max(box.clientWidth, 280), height: 230 }); });
  }

  // A finger drawn sideways chooses a stretch; up and down it still moves the page. A tap shows the values there.
  function touch(p, look) {
    let from = null;
    const x = (e) => e.clientX - p.over.getBoundingClientRect().left;
    p.over.addEventListener("pointerdown", (e) => { if (e.pointerType === "touch") from = x(e); });
    p.over.addEventListener("pointermove", (e) => {
      if (from === null || e.pointerType !== "touch") return;
      const to = x(e);
      p.setSelect({ left: Math.min(from, to), top: 0, width: Math.abs(to - from), height: p.over.clientHeight }, false);
    });
    addEventListener("pointerup", (e) => {
      if (from === null || e.pointerType !== "touch") return;
      const a = Math.min(from, x(e)), b = Math.max(from, x(e));
      from = null;
      p.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
      if (b - a > 12) look(p.posToVal(a, "x"), p.posToVal(b, "x"));
      else p.setCursor({ left: a, top: p.over.clientHeight / 2 });
    });
    addEventListener("pointercancel", () => { from = null; });
  }

  draw();
  document.addEventListener("htmx:after:swap", draw);
})();

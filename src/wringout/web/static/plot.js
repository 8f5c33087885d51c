// Plots of a log that can be zoomed, one for each unit, zoomed together.
"use strict";
(() => {
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
    ask().then(({ time, series }) => {
      box.textContent = "";
      const units = new Map();
      for (const s of series) units.set(s.unit, [...(units.get(s.unit) || []), s]);
      const sync = uPlot.sync("log"), dashes = [[], [8, 4], [2, 3], [10, 3, 2, 3], [1, 4]];
      for (const [unit, lines] of units) {
        const head = document.createElement("h3"), at = document.createElement("div");
        head.textContent = unit.replace("deg", "°"); at.className = "plot";
        box.append(head, at);
        new uPlot({
          width: Math.max(box.clientWidth, 280), height: 230, cursor: { sync: { key: sync.key, setSeries: false }, drag: { x: true, y: false } },
          scales: { x: { time: true } },
          axes: [{}, { size: 56 }],
          series: [{}, ...lines.map((s, k) => ({ label: s.point, stroke: "#000", width: 1 + 0.5 * (k % 2), dash: dashes[k % 5], spanGaps: false }))],
        }, [time, ...lines.map((s) => s.values)], at);
      }
    }).catch(() => { box.textContent = "The plots need a connection."; });
  }
  draw();
  document.addEventListener("htmx:after:swap", draw);
})();

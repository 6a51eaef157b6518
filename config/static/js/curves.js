// The curves of a cycle's record, to zoom into: <details data-curves="address of the readings">. Each stretch is asked
// for anew, so that a long record shows more of its readings the closer one looks. Lines are told apart by their dashes,
// in the same order as in the picture above; nothing is said by colour.
"use strict";
{
  const HEIGHT = 360;
  const LEAST_S = 2; // no stretch is shorter
  const SAME_S = 1e-6;
  const S_PER_MIN = 60;
  const CELSIUS = "°C";
  const BAR = "bar abs";
  const LEAST_K = 4; // height of the plot, at least
  const LEAST_BAR = 0.4;
  const DASHES = [[7, 4], [2, 3], [10, 3, 2, 3], [14, 4], [5, 2, 1, 2]];
  const FONT = '14px "Atkinson Hyperlegible Next", "DejaVu Sans", sans-serif';

  const figure = (value) => (value === null || value === undefined ? "Not recorded" : value.toFixed(2).replace("-", "−"));
  const dash = (column, k) => (column.unit === CELSIUS ? DASHES[k % DASHES.length] : []);

  function cell(label, text) {
    const made = Object.assign(document.createElement("td"), { textContent: text, className: "number" });
    made.dataset.label = label;
    return made;
  }

  function sample(column, k) {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    const look = { d: "M0 6h44", fill: "none", stroke: "currentColor", "stroke-width": 2, "stroke-dasharray": dash(column, k).join(" ") };
    for (const [name, value] of Object.entries(look)) line.setAttribute(name, value);
    for (const [name, value] of Object.entries({ width: 44, height: 12, "aria-hidden": "true" })) svg.setAttribute(name, value);
    svg.append(line);
    return svg;
  }

  // A scale that fits the readings, and is never so fine that the trembling of a probe looks like an event.
  const least = (width) => (_, low, high) => {
    const middle = ((low ?? 0) + (high ?? 0)) / 2;
    const half = Math.max(((high ?? 0) - (low ?? 0)) * 0.55, width / 2);
    return [middle - half, middle + half];
  };

  function start(details) {
    const place = details.querySelector(".closer-plot");
    const words = details.querySelector("[data-curves-words]");
    const rows = details.querySelector("tbody");
    const where = details.querySelector("[data-curves-where]");
    let shown = null; // what the server answered last
    let plot = null;
    let at = null; // the stretch shown, [from, to] in s
    let asked = 0;

    const isShown = (seconds) => seconds > at[0] - SAME_S && seconds < at[1] + SAME_S;

    async function show(from, to) {
      const mine = (asked += 1);
      const address = to > from ? `${details.dataset.curves}?from_s=${from}&to_s=${to}` : details.dataset.curves;
      const answer = await fetch(address, { headers: { Accept: "application/json" } }).catch(() => null);
      if (mine !== asked) return; // a later stretch was asked for meanwhile
      if (!answer?.ok) {
        words.textContent = "The readings did not come. The picture above stands; try again.";
        return;
      }
      shown = await answer.json();
      at = to > from ? [from, to] : [0, shown.lasts_s];
      draw();
      tell();
    }

    function move(step) {
      const [from, to] = at;
      const middle = (from + to) / 2;
      const half = (to - from) / 2;
      const [newMiddle, newHalf] = {
        closer: [middle, half / 2], wider: [middle, half * 2], earlier: [middle - half, half], later: [middle + half, half],
      }[step];
      within(newMiddle - newHalf, newMiddle + newHalf);
    }

    function within(from, to) {
      const length = Math.min(Math.max(to - from, LEAST_S), shown.lasts_s);
      const first = Math.min(Math.max((from + to - length) / 2, 0), shown.lasts_s - length);
      show(first, first + length);
    }

    function tell() {
      const minutes = (seconds) => figure(seconds / S_PER_MIN);
      const thinned = shown.thinned ? " Thinned: of each sliver of time the lowest and the highest reading are drawn." : " Every reading is drawn.";
      words.textContent = `Shown: ${minutes(at[0])} to ${minutes(at[1])} min of ${minutes(shown.lasts_s)} min.${thinned}`;
      rows.replaceChildren(...shown.columns.map((column, k) => {
        const inside = column.values.filter((value, row) => value !== null && isShown(shown.times_s[row]));
        const row = document.createElement("tr");
        const name = Object.assign(document.createElement("th"), { scope: "row" });
        name.append(sample(column, k), ` ${column.name}, ${column.unit}`);
        const lowest = inside.length ? Math.min(...inside) : null;
        const highest = inside.length ? Math.max(...inside) : null;
        row.append(name, cell("At the line", "–"), cell("Lowest", figure(lowest)), cell("Highest", figure(highest)));
        return row;
      }));
      point(null);
    }

    function point(index) {
      const minute = shown.times_s[index] / S_PER_MIN;
      where.textContent = Number.isNaN(minute) ? "At the line" : `At ${figure(minute)} min`;
      shown.columns.forEach((column, k) => {
        rows.rows[k].cells[1].textContent = index === null || index === undefined ? "–" : figure(column.values[index]);
      });
    }

    // The band that the programme asks for, and where each phase ends.
    function ground(chart) {
      const { ctx, bbox } = chart;
      const x = (minutes) => chart.valToPos(minutes, "x", true);
      ctx.save();
      ctx.beginPath();
      ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
      ctx.clip();
      ctx.fillStyle = ctx.strokeStyle = getComputedStyle(place).color;
      if (shown.band_c.length) {
        const [bottom, top] = shown.band_c.map((value) => chart.valToPos(value, CELSIUS, true));
        ctx.globalAlpha = 0.1;
        ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
      }
      ctx.globalAlpha = 0.8;
      ctx.font = FONT.replace("14px", `${14 * devicePixelRatio}px`);
      ctx.setLineDash([devicePixelRatio, 4 * devicePixelRatio]);
      for (const phase of shown.phases) {
        const from = Math.max(x(phase.from_s / S_PER_MIN), bbox.left);
        const to = Math.min(x(phase.to_s / S_PER_MIN), bbox.left + bbox.width);
        ctx.beginPath();
        ctx.moveTo(x(phase.from_s / S_PER_MIN), bbox.top);
        ctx.lineTo(x(phase.from_s / S_PER_MIN), bbox.top + bbox.height);
        ctx.stroke();
        const room = 8 * devicePixelRatio;
        if (ctx.measureText(phase.name).width + room < to - from) {
          ctx.fillText(phase.name, from + room / 2, bbox.top + 16 * devicePixelRatio);
        }
      }
      ctx.restore();
    }

    function options() {
      const ink = getComputedStyle(place).color;
      const axis = (more) => ({ stroke: ink, font: FONT, labelFont: FONT, grid: { stroke: ink, width: 0.2 }, ticks: { stroke: ink, width: 1 }, ...more });
      const hasBar = shown.columns.some((column) => column.unit !== CELSIUS);
      const lines = shown.columns.map((column, k) => ({
        label: column.name,
        scale: column.unit,
        stroke: ink,
        width: column.unit === CELSIUS ? 2 : 1.25,
        dash: dash(column, k),
        points: { show: false },
      }));
      return {
        width: place.clientWidth,
        height: HEIGHT,
        legend: { show: false },
        cursor: { y: false, drag: { x: true, y: false, setScale: false }, points: { size: 8 } },
        scales: {
          x: { time: false, range: () => at.map((seconds) => seconds / S_PER_MIN) },
          [CELSIUS]: { range: least(LEAST_K) },
          [BAR]: { range: least(LEAST_BAR) },
        },
        series: [{}, ...lines],
        axes: [
          axis({ label: "Time from the first reading (min)", labelSize: 24 }),
          axis({ scale: CELSIUS, label: CELSIUS, size: 56 }),
          ...(hasBar ? [axis({ scale: BAR, side: 1, label: BAR, size: 56, grid: { show: false } })] : []),
        ],
        hooks: {
          drawClear: [ground],
          setCursor: [(chart) => point(chart.cursor.idx)],
          setSelect: [(chart) => {
            if (chart.select.width < 4) return;
            const ends = [chart.select.left, chart.select.left + chart.select.width];
            within(...ends.map((left) => chart.posToVal(left, "x") * S_PER_MIN));
          }],
        },
      };
    }

    function draw() {
      plot?.destroy();
      const data = [shown.times_s.map((seconds) => seconds / S_PER_MIN), ...shown.columns.map((column) => column.values)];
      plot = new uPlot(options(), data, place);
    }

    place.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!step || !plot) return;
      event.preventDefault();
      const inside = shown.times_s.flatMap((seconds, k) => (isShown(seconds) ? [k] : []));
      const here = plot.cursor.left < 0 ? -1 : inside.indexOf(plot.cursor.idx); // off the plot it still has an index
      const next = here < 0 ? inside[step > 0 ? 0 : inside.length - 1] : inside[Math.min(Math.max(here + step, 0), inside.length - 1)];
      if (next !== undefined) plot.setCursor({ left: plot.valToPos(shown.times_s[next] / S_PER_MIN, "x"), top: 0 });
    });

    details.querySelectorAll("[data-show]").forEach((button) => button.addEventListener("click", () => {
      if (!shown) return;
      if (button.dataset.show === "whole") show();
      else if (button.dataset.show === "phase") {
        const phase = shown.phases[button.dataset.phase];
        within(phase.from_s, phase.to_s);
      } else move(button.dataset.show);
    }));

    details.addEventListener("toggle", () => { if (details.open && !shown) show(); });
    new ResizeObserver(() => { if (plot && place.clientWidth) plot.setSize({ width: place.clientWidth, height: HEIGHT }); }).observe(place);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (plot) draw(); });
    details.hidden = false;
  }

  document.querySelectorAll("[data-curves]").forEach(start);
}

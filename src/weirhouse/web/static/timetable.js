// Choosing a parcel, a stage or a time. Every answer, and where each key leads, comes from the server.

const KEYS = {
  ArrowLeft: "earlier", ArrowRight: "later", ArrowUp: "up", ArrowDown: "down", PageUp: "before", PageDown: "after",
  Home: "first", End: "last",
};

export function timetable(figure) {
  const says = document.getElementById("timetable-says");
  const keys = document.getElementById("timetable-keys");
  let links = {};
  for (const link of keys.querySelectorAll("a[data-key]")) {
    if (!link.classList.contains("off")) links[link.dataset.key] = new URL(link.href).search;
  }
  let asked = 0;

  async function choose(search) {
    const mine = ++asked;
    const answer = await fetch(figure.dataset.says + search);
    if (!answer.ok || mine !== asked) return;
    const chosen = await answer.json();
    says.textContent = chosen.sentence;
    links = chosen.links;
    for (const link of keys.querySelectorAll("a[data-key]")) {
      const to = links[link.dataset.key];
      link.classList.toggle("off", !to);
      link.toggleAttribute("aria-disabled", !to);
      if (to) link.href = new URL(link.href).pathname + to;
    }
    for (const svg of figure.querySelectorAll("svg.timetable")) show(svg, chosen);
  }

  figure.addEventListener("keydown", (event) => {
    const key = KEYS[event.key];
    if (!key || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    if (links[key]) choose(links[key]);
  });
  keys.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-key]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (!link.classList.contains("off")) choose(links[link.dataset.key]);
  });
  figure.addEventListener("click", (event) => {
    const svg = event.target.closest("svg.timetable");
    if (!svg) return;
    event.preventDefault();
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const at = timeOf(svg, point.x);
    const parcel = event.target.closest("[data-parcel]")?.dataset.parcel ?? nearest(svg, point);
    if (parcel) choose(`?parcel=${encodeURIComponent(parcel)}&at_time=${Math.round(at)}${figure.dataset.at ? "&" + figure.dataset.at : ""}`);
  });
}

function frame(svg) {
  const d = svg.dataset;
  return {
    begin: +d.begin, end: +d.end, left: +d.left, right: +d.right,
    tops: d.tops.split(" ").map(Number), bottoms: d.bottoms.split(" ").map(Number),
  };
}

function timeOf(svg, x) {
  const f = frame(svg);
  return f.begin + ((x - f.left) / (f.right - f.left)) * (f.end - f.begin);
}

// The line that passes closest to a tap which met none.
function nearest(svg, point) {
  let best = null;
  let least = Infinity;
  for (const group of svg.querySelectorAll("[data-parcel]")) {
    const numbers = group.querySelector(".tt-casing").getAttribute("d").slice(1).split("L").map((pair) => pair.split(" ").map(Number));
    for (let i = 1; i < numbers.length; i += 1) {
      const [x0, y0] = numbers[i - 1];
      const [x1, y1] = numbers[i];
      const whole = (x1 - x0) ** 2 + (y1 - y0) ** 2;
      const part = whole ? Math.max(0, Math.min(1, ((point.x - x0) * (x1 - x0) + (point.y - y0) * (y1 - y0)) / whole)) : 0;
      const far = Math.hypot(point.x - x0 - part * (x1 - x0), point.y - y0 - part * (y1 - y0));
      if (far < least) { least = far; best = group.dataset.parcel; }
    }
  }
  return least < 60 ? best : null;
}

function show(svg, chosen) {
  for (const group of svg.querySelectorAll(".chosen")) group.classList.remove("chosen");
  svg.querySelector(`[data-parcel="${CSS.escape(chosen.parcel)}"]`)?.classList.add("chosen");
  const cursor = svg.querySelector(".tt-cursor");
  const f = frame(svg);
  if (chosen.time === null || chosen.place === null || chosen.time < f.begin || chosen.time > f.end) {
    cursor.setAttribute("cx", -50);
    return;
  }
  const lane = Math.min(Math.floor(chosen.place), f.tops.length - 1);
  cursor.setAttribute("cx", f.left + ((f.right - f.left) * (chosen.time - f.begin)) / (f.end - f.begin));
  cursor.setAttribute("cy", f.tops[lane] + (f.bottoms[lane] - f.tops[lane]) * (chosen.place - lane));
}

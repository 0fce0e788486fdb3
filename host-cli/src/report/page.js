"use strict";
// A readout under each plot of the mark nearest the pointer, the finger or the arrow keys, and zoom along the time axis of a
// trend. The page is complete without it: what is said here stands in the titles of the marks.
for (const plot of document.querySelectorAll("svg.plot")) {
  const marks = [...plot.querySelectorAll(".point, .place")]
    .map(mark => ({ mark, at: +mark.getAttribute("cx"), words: (mark.querySelector("title") ?? mark.parentNode.querySelector("title")).textContent }))
    .sort((a, b) => a.at - b.at);
  if (marks.length === 0) continue;
  const readout = document.createElement("p");
  readout.className = "readout";
  readout.setAttribute("role", "status");
  readout.textContent = "\u00a0";
  plot.after(readout);
  plot.setAttribute("tabindex", "0");
  let now = -1;
  const show = index => {
    marks[now]?.mark.classList.remove("near");
    now = index;
    marks[now]?.mark.classList.add("near");
    readout.textContent = marks[now]?.words ?? "\u00a0";
  };
  const time = plot.dataset.area && marks.length > 4 ? zoomed(plot) : { zoom: null, shows: () => true };
  const nearest = event => {
    let found = -1, least = Infinity;
    marks.forEach(({ mark, at }, index) => {
      const box = mark.getBoundingClientRect();
      const far = Math.hypot(event.clientX - box.x - box.width / 2, event.clientY - box.y - box.height / 2);
      if (far < least && time.shows(at)) [found, least] = [index, far];
    });
    show(found);
  };
  plot.addEventListener("pointermove", nearest);
  plot.addEventListener("pointerdown", nearest);
  plot.addEventListener("keydown", event => {
    const last = marks.length - 1;
    const to = { ArrowLeft: Math.max(now - 1, 0), ArrowRight: Math.min(now + 1, last), Home: 0, End: last, Escape: -1 }[event.key];
    const by = { "+": 0.5, "-": 2, "0": Infinity }[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey || (to === undefined && !(time.zoom && by))) return;
    event.preventDefault();
    if (to !== undefined) show(to);
    else time.zoom(by, marks[now]?.at);
    if (to >= 0 && !time.shows(marks[to].at)) time.zoom(1, marks[to].at);
  });
}

// Makes a plot over time one that can be looked at in part; gives what changes
// the part (how much wider, about which place) and what tells whether a place is in it.
function zoomed(plot) {
  const [left, right, top, bottom] = plot.dataset.area.split(" ").map(Number);
  const [from, to] = plot.dataset.days.split(" ").map(Number);
  const wide = right - left;
  // What lies within the axes moves; grid, limits and axes stay. An inner drawing clips what has moved out of sight.
  const inner = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const size = { x: left, y: 0, width: wide, height: bottom, viewBox: `${left} 0 ${wide} ${bottom}` };
  for (const [name, value] of Object.entries(size)) inner.setAttribute(name, value);
  const moving = [], ticks = [];
  for (const piece of [...plot.children]) {
    if (piece.getAttribute("stroke") === "#D5DADD") continue;
    const box = piece.getBBox(), middle = box.x + box.width / 2;
    if (piece.tagName === "text" && box.y > bottom) ticks.push({ piece, middle, words: piece.textContent });
    else if (box.x > left + 0.5 && box.x + box.width < right - 0.5 && box.y < bottom && box.width < 0.999 * wide) moving.push({ piece, middle, curve: box.width > 0.5 && piece.tagName === "polyline" });
  }
  // The lowest text names the axis.
  const lowest = Math.max(...ticks.map(({ piece }) => piece.getBBox().y));
  const dates = ticks.filter(({ piece }) => piece.getBBox().y < lowest);
  plot.append(inner);
  inner.append(...moving.map(({ piece }) => piece));
  let start = left, share = 1;
  const place = () => {
    for (const { piece, middle, curve } of moving)
      piece.setAttribute("transform", curve ? `translate(${left - start / share} 0) scale(${1 / share} 1)` : `translate(${left + (middle - start) / share - middle} 0)`);
    for (const { piece, middle, words } of dates) {
      const day = from + (start - left + share * (middle - left)) * (to - from) / wide;
      // "Thu, 12 Mar 2026 …": the day, or the month with its year, as the page itself has them.
      piece.textContent = share === 1 ? words : new Date(864e5 * day).toUTCString().slice(...(share * (to - from) > 300 ? [8, 16] : [5, 11]));
    }
  };
  const zoom = (by, about = start + share * wide / 2) => {
    share = Math.min(1, Math.max(share * by, 1 / 32));
    start = Math.min(Math.max(about - share * wide / 2, left), right - share * wide);
    place();
  };
  const step = by => { start = Math.min(Math.max(start + by * share * wide, left), right - share * wide); place(); };
  const buttons = document.createElement("p");
  buttons.className = "zoom";
  for (const [label, words, act] of [["−", "Wider", () => zoom(2)], ["+", "Closer", () => zoom(0.5)], ["‹", "Earlier", () => step(-0.5)], ["›", "Later", () => step(0.5)], ["All", "All sessions", () => zoom(Infinity)]]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = label;
    button.setAttribute("aria-label", words);
    button.title = words;
    button.addEventListener("click", act);
    buttons.append(button);
  }
  plot.nextElementSibling.after(buttons);
  addEventListener("beforeprint", () => zoom(Infinity));
  return { zoom, shows: at => at >= start && at <= start + share * wide };
}

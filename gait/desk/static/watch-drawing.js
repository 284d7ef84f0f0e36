// The footfall diagram, the topline and the height of the paws as SVG, all on one axis of time.

import { PAWS, answer } from "./watch-clip.js";

const NS = "http://www.w3.org/2000/svg";
const NAMES = { top: 4, height: 24 };
const LANE = { top: 34, height: 20, bar: 13 };
const TICKS = { top: 116, height: 16 };
const AXIS = { top: 134 };
const TOPLINE = { top: 176, height: 64, title: "Topline, degrees (+ croup higher)" };
const HEIGHT = { top: 266, height: 76, title: "Paws over the belt, body lengths" };
export const TALL = 350;
const LETTER = 7;             // px, width of one letter of a gait name
const TICK_ROOM = 70;         // px between two times on the axis
const STEPS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 60];
const DASHES = { far_fore: "5 3", far_hind: "5 3" };

export function el(tag, attributes = {}, ...children) {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

// view: { from, to } s, left and width px of the axis; x(t) px.
export function draw(clip, view) {
  return [
    hatching(),
    ...strideTicks(clip, view),
    ...axis(view),
    ...lanes(clip, view),
    ...names(clip, view),
    ...trace(clip, view, TOPLINE, [{ values: clip.topline, colour: "var(--ink)" }]),
    ...trace(clip, view, HEIGHT, clip.height.map((values, paw) => (
      { values, colour: clip.colours[paw], dash: DASHES[PAWS[paw]] }))),
  ];
}

// What lies at y px: "name", "ticks", a lane's paw, or "" elsewhere.
export function partAt(clip, y) {
  if (y < NAMES.top + NAMES.height + 3) return "name";
  if (y >= TICKS.top && y < TICKS.top + TICKS.height) return "ticks";
  const lane = Math.floor((y - LANE.top) / LANE.height);
  return clip.lanes[lane]?.paw ?? "";
}

function hatching() {
  const line = el("path", { d: "M0 0V6", class: "hatch" });
  return el("defs", {}, el("pattern", { id: "hatch", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, line));
}

const shown = (view, from, to) => to > view.from && from < view.to;

function box(view, from, to, top, height, attributes) {
  const [left, right] = [Math.max(from, view.from), Math.min(to, view.to)].map(view.x);
  return el("rect", { x: left, y: top, width: Math.max(right - left, 0.5), height, ...attributes });
}

function text(x, y, words, attributes = {}) { return el("text", { x, y, ...attributes }, words); }

function lanes(clip, view) {
  return clip.lanes.flatMap(({ paw, label, colour }, lane) => {
    const top = LANE.top + lane * LANE.height, number = PAWS.indexOf(paw);
    return [
      text(view.left - 8, top + 14, label, { class: "lane", "text-anchor": "end" }),
      ...dropped(clip, view, paw, top),
      el("line", { x1: view.left, x2: view.left + view.width, y1: top + LANE.height / 2, y2: top + LANE.height / 2, class: "quiet" }),
      ...clip.contacts[number].flatMap((contact) => bar(clip, view, contact, { top, colour, far: paw.startsWith("far") })),
    ];
  });
}

function dropped(clip, view, paw, top) {
  return clip.stridesOf(paw)
    .filter((stride) => stride.dropped && shown(view, stride.from, stride.to))
    .map((stride) => box(view, stride.from, stride.to, top + 1, LANE.height - 2, { fill: "url(#hatch)" }));
}

function bar(clip, view, [down, lift, downSpread, liftSpread], { top, colour, far }) {
  const [from, to] = [down ?? clip.first_s, lift ?? clip.last_s];
  if (!shown(view, from, to)) return [];
  const cut = down === null || lift === null, y = top + (LANE.height - LANE.bar) / 2;
  const look = { fill: cut ? "none" : colour, stroke: colour, class: `bar${far ? " far" : ""}${cut ? " cut" : ""}` };
  return [
    box(view, from, to, y, LANE.bar, look),
    ...whisker(view, down, downSpread, top), ...whisker(view, lift, liftSpread, top),
  ];
}

function whisker(view, at, spread, top) {
  if (at === null || spread === null || at - spread < view.from || at + spread > view.to) return [];
  const [left, right, middle] = [view.x(at - spread), view.x(at + spread), top + LANE.height / 2];
  return [el("path", { d: `M${left} ${middle - 3}V${middle + 3}M${left} ${middle}H${right}M${right} ${middle - 3}V${middle + 3}`, class: "whisker" })];
}

function names(clip, view) {
  return clip.runs.filter((run) => shown(view, run.start, run.end)).flatMap((run) => {
    const [left, right] = [Math.max(run.start, view.from), Math.min(run.end, view.to)].map(view.x);
    const words = run.gait.length * LETTER < right - left - 6 ? run.gait : "…";
    const frame = box(view, run.start, run.end, NAMES.top, NAMES.height, { class: `run${run.gait === "unclear" ? " unclear" : ""}`, rx: 3 });
    frame.append(el("title", {}, run.gait));
    return [frame, text((left + right) / 2, NAMES.top + 16, words, { "text-anchor": "middle", class: "gait" })];
  });
}

// Where strides of the near hind paw begin, with their numbers; a stride that a person overruled is underlined.
function strideTicks(clip, view) {
  return clip.stridesOf("near_hind").filter((stride) => shown(view, stride.from, stride.to)).flatMap((stride) => {
    const [left, right] = [view.x(Math.max(stride.from, view.from)), view.x(Math.min(stride.to, view.to))];
    const made = [];
    if (stride.start !== null && stride.start >= view.from) {
      made.push(el("line", { x1: left, x2: left, y1: LANE.top - 2, y2: TICKS.top + TICKS.height, class: "stride" }));
    }
    if (right - left > 16) {
      const number = text((left + right) / 2, TICKS.top + 12, String(stride.number), { "text-anchor": "middle", class: "number" });
      number.append(el("title", {}, answer(stride)));
      made.push(number);
    }
    if (stride.overruled) made.push(box(view, stride.from, stride.to, TICKS.top + TICKS.height - 2, 3, { class: "overruled" }));
    return made;
  });
}

function axis(view) {
  const step = STEPS.find((one) => (one / (view.to - view.from)) * view.width >= TICK_ROOM) ?? 120;
  const places = step < 0.1 ? 2 : step < 1 ? 1 : 0, made = [];
  for (let k = Math.ceil(view.from / step - 1e-9); k * step <= view.to; k += 1) {
    const x = view.x(k * step);
    made.push(
      el("line", { x1: x, x2: x, y1: AXIS.top, y2: HEIGHT.top + HEIGHT.height, class: "grid" }),
      text(x, AXIS.top + 13, `${(k * step).toFixed(places)} s`, { "text-anchor": "middle", class: "number" }),
    );
  }
  return made;
}

function trace(clip, view, place, lines) {
  const [first, last] = [Math.max(0, clip.from(view.from) - 1), clip.from(view.to)];
  const known = lines.flatMap(({ values }) => values.filter((value) => value !== null));
  const title = text(view.left, place.top - 6, place.title, { class: "title" });
  if (!known.length) return [title, text(view.left, place.top + 20, "not known in this clip", { class: "number" })];
  const low = Math.min(0, ...range(known)), high = Math.max(0, ...range(known)), room = (high - low || 1) * 0.06;
  const y = (value) => place.top + place.height * (1 - (value - low + room) / (high - low + 2 * room || 1));
  const step = Math.max(1, Math.floor((last - first) / (2 * view.width)));
  const paths = lines.map(({ values, colour, dash }) => el("path", {
    d: path(values, first, last, step, (row) => view.x(clip.t[row]), y),
    stroke: colour, class: "trace", "clip-path": "url(#inside)", ...(dash && { "stroke-dasharray": dash }),
  }));
  return [
    title,
    el("line", { x1: view.left, x2: view.left + view.width, y1: y(0), y2: y(0), class: "quiet" }),
    ...marks(low, high).map((value) => text(view.left - 8, y(value) + 4, String(value), { "text-anchor": "end", class: "number" })),
    el("clipPath", { id: "inside" }, el("rect", { x: view.left, y: 0, width: view.width, height: TALL })),
    ...paths,
  ];
}

function range(values) { return [values.reduce((a, b) => Math.min(a, b)), values.reduce((a, b) => Math.max(a, b))]; }

// Zero, and the round numbers next to both ends.
function marks(low, high) {
  const size = Math.max(Math.abs(low), Math.abs(high));
  const step = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50].findLast((one) => one <= size) ?? size;
  return [...new Set([-step, 0, step])].filter((value) => value >= low && value <= high);
}

function path(values, first, last, step, x, y) {
  let made = "", pen = false;
  for (let row = first; row <= last; row += step) {
    const value = values[row];
    if (value !== null && value !== undefined) made += `${pen ? "L" : "M"}${x(row).toFixed(1)} ${y(value).toFixed(1)}`;
    pen = value !== null && value !== undefined;
  }
  return made;
}

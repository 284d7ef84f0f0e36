// The diagram under the film: where the film is, going elsewhere by hand, a window of a few strides on long clips.

import { seconds, words, PAWS } from "./watch-clip.js";
import { TALL, draw, el, partAt } from "./watch-drawing.js";

const LEFT = { narrow: 74, wide: 78 }, RIGHT = 12, NARROW = 560;
const STRIDES = { narrow: 5, wide: 12 };  // shown at first
const LEAST = 1.2;                        // strides in the closest window
const FACTOR = 2;

export class Diagram {
  // goTo(row, stride): what a hand does.
  constructor(box, clip, goTo) {
    Object.assign(this, { box, clip, goTo, row: 0, loop: null, held: false });
    const lengths = clip.strides.filter((s) => s.start !== null && s.end !== null).map((s) => s.end - s.start).sort((a, b) => a - b);
    this.stride_s = lengths[lengths.length >> 1] ?? (clip.last_s - clip.first_s) / 4;
    this.svg = el("svg", { height: TALL, "aria-hidden": "true" });
    this.still = el("g");
    this.shade = el("rect", { y: 0, height: TALL, class: "loop" });
    this.head = el("line", { y1: 0, y2: TALL, class: "head" });
    this.svg.append(this.shade, this.still, this.head);
    box.append(this.svg);
    this.width = box.clientWidth || 320;
    this.setSpan(this.stride_s * (this.width < NARROW ? STRIDES.narrow : STRIDES.wide));
    new ResizeObserver(() => this.resize()).observe(box);
    for (const kind of ["pointerdown", "pointermove", "pointerup", "pointercancel"]) {
      box.addEventListener(kind, (event) => this[kind](event));
    }
    box.addEventListener("keydown", (event) => {
      const row = { Home: 0, End: clip.rows - 1 }[event.key];
      if (row === undefined) return;
      event.preventDefault();
      goTo(row);
    });
  }

  get whole() { return this.clip.last_s - this.clip.first_s; }

  resize() {
    if (this.box.clientWidth === this.width || !this.box.clientWidth) return;
    this.width = this.box.clientWidth;
    this.redraw();
  }

  // Show so many s, the film's place staying where it is.
  setSpan(span) {
    const { clip } = this, at = clip.t[this.row];
    const share = this.view ? Math.min(Math.max((at - this.view.from) / (this.view.to - this.view.from), 0), 1) : 0;
    this.span = Math.min(Math.max(span, LEAST * this.stride_s), this.whole);
    if (this.span > 0.9 * this.whole) this.span = this.whole;
    this.lookFrom(at - share * this.span);
  }

  lookFrom(from) {
    const { clip } = this;
    this.from = Math.min(Math.max(from, clip.first_s), clip.last_s - this.span);
    this.redraw();
  }

  zoom(closer) { this.setSpan(closer ? this.span / FACTOR : this.span * FACTOR); }

  move(by) { this.lookFrom(this.from + by * 0.8 * this.span); }

  redraw() {
    const left = this.width < NARROW ? LEFT.narrow : LEFT.wide, width = Math.max(this.width - left - RIGHT, 40);
    const from = this.from, to = from + this.span;
    this.view = { from, to, left, width, x: (t) => left + ((t - from) / (to - from)) * width };
    this.svg.setAttribute("width", this.width);
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${TALL}`);
    this.still.replaceChildren(...draw(this.clip, this.view));
    this.place();
  }

  place() {
    const { clip, view } = this, x = view.x(clip.t[this.row]);
    this.head.setAttribute("x1", x);
    this.head.setAttribute("x2", x);
    const [from, to] = this.loop ? [this.loop.first, this.loop.last].map((row) => Math.min(Math.max(clip.t[row], view.from), view.to)) : [view.from, view.from];
    this.shade.setAttribute("x", view.x(from));
    this.shade.setAttribute("width", view.x(to) - view.x(from));
  }

  show(row) {
    this.row = row;
    const t = this.clip.t[row];
    if (!this.held && (t < this.view.from - 1e-9 || t > this.view.to + 1e-9)) this.lookFrom(t - 0.08 * this.span);
    else this.place();
    const { clip } = this, run = clip.runAt(row);
    const down = PAWS.filter((_, paw) => clip.down(paw, row)).map(words);
    const told = `frame ${row + 1}, ${seconds(t)}, ${run ? run.gait : "no gait named"}; on the belt: ${down.join(", ") || "no paw"}`;
    this.box.setAttribute("aria-valuenow", row + 1);
    this.box.setAttribute("aria-valuetext", told);
  }

  setLoop(loop) {
    this.loop = loop;
    this.place();
  }

  at(event) {
    const edge = this.svg.getBoundingClientRect();
    const share = (event.clientX - edge.left - this.view.left) / this.view.width;
    return { t: this.view.from + Math.min(Math.max(share, 0), 1) * this.span, part: partAt(this.clip, event.clientY - edge.top) };
  }

  pointerdown(event) {
    if (event.button !== 0) return;
    this.box.setPointerCapture(event.pointerId);
    this.held = true;
    const { clip } = this, { t, part } = this.at(event), row = clip.nearest(t);
    const run = part === "name" && clip.runAt(row);
    const stride = part === "ticks" && clip.strideAt("near_hind", row);
    if (run || stride) {
      this.held = false;
      this.goTo(clip.from(run ? run.start : stride.from));
      return;
    }
    this.goTo(row);
  }

  pointermove(event) { if (this.held) this.goTo(this.clip.nearest(this.at(event).t)); }

  pointerup() { this.held = false; }

  pointercancel() { this.held = false; }
}

// Landmarks over the film. A bar under a paw says that it is on the belt.

import { CROUP, EDGE, FAINT, RADIUS_SHARE, WITHERS, spot, stroke, topline } from "./spots.js";

const LEAST_PX = 4;

export class Overlay {
  // size: [width, height] px of the upright clip; without a film, of a frame around all landmarks.
  constructor(canvas, clip) {
    Object.assign(this, { canvas, clip, row: 0, landmarks: true, paws: true });
    this.place(bounds(clip));
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  place({ left, top, width, height }) {
    Object.assign(this, { left, top, width, height });
    this.canvas.parentElement.style.setProperty("--shape", width / height);
    this.draw();
  }

  show(row) {
    this.row = row;
    this.draw();
  }

  draw() {
    const { canvas } = this, scale = window.devicePixelRatio || 1;
    const [wide, high] = [Math.round(canvas.clientWidth * scale), Math.round(canvas.clientHeight * scale)];
    if (canvas.width !== wide || canvas.height !== high) { canvas.width = wide; canvas.height = high; }
    const pen = canvas.getContext("2d");
    pen.clearRect(0, 0, wide, high);
    const radius = Math.max(LEAST_PX * scale, RADIUS_SHARE * Math.min(wide, high));
    const places = this.clip.x.map((column, mark) => this.toCanvas(column[this.row], this.clip.y[mark][this.row]));
    if (this.landmarks) {
      this.topline(pen, places, radius);
      places.forEach((place, mark) => place && this.mark(pen, place, mark, radius));
    }
    if (this.paws) places.slice(0, 4).forEach((place, paw) => place && this.onBelt(pen, place, paw, radius));
    pen.globalAlpha = 1;
  }

  // The middle of pixel 0 lies at 0.
  toCanvas(x, y) {
    if (x === null || y === null) return null;
    const { canvas } = this;
    return [((x + 0.5 - this.left) / this.width) * canvas.width, ((y + 0.5 - this.top) / this.height) * canvas.height];
  }

  faint(...marks) { return marks.every((mark) => this.clip.hidden[mark][this.row]) ? FAINT : 1; }

  topline(pen, places, radius) {
    if (!places[WITHERS] || !places[CROUP]) return;
    pen.globalAlpha = this.faint(WITHERS, CROUP);
    topline(pen, places[WITHERS], places[CROUP], radius);
  }

  mark(pen, place, mark, radius) {
    pen.globalAlpha = this.faint(mark);
    spot(pen, place, radius, { colour: this.clip.colours[mark], ring: this.clip.landmarks[mark].startsWith("far") });
  }

  onBelt(pen, [x, y], paw, radius) {
    if (!this.clip.down(paw, this.row)) return;
    pen.globalAlpha = 1;
    for (const [width, colour] of [[1.1, EDGE], [0.7, this.clip.colours[paw]]]) {
      stroke(pen, width * radius, colour, () => {
        pen.moveTo(x - 2.2 * radius, y + 2.4 * radius);
        pen.lineTo(x + 2.2 * radius, y + 2.4 * radius);
      });
    }
  }
}

// A frame around every place of every landmark, with room about it.
function bounds(clip) {
  const [xs, ys] = [clip.x, clip.y].map((columns) => columns.flat().filter((value) => value !== null));
  const range = (values) => values.reduce(([low, high], value) => [Math.min(low, value), Math.max(high, value)], [Infinity, -Infinity]);
  if (!xs.length) return { left: 0, top: 0, width: 16, height: 9 };
  const [[left, right], [top, bottom]] = [range(xs), range(ys)];
  const room = 0.12 * Math.max(right - left, bottom - top, 1);
  return { left: left - room, top: top - room, width: right - left + 2 * room, height: bottom - top + 2 * room };
}

// The picture under the hand: zoom, pan, pinch, drag of a landmark, tap. Picture px have their centres on whole numbers.

const GRAB = { mouse: 16, pen: 20, touch: 34 };  // screen px around a landmark
const STILL = 6;                                 // screen px that a tap may wander
const MOST = 40;                                 // screen px per picture px
const PIXELS_FROM = 3;

export class Stage {
  // hand: { chosen, points() -> [[x, y] | null], grab(mark), move(mark, xy), drop(mark), tap(xy), redraw() }
  constructor(box, images, hand) {
    this.box = box;
    this.images = images;
    this.hand = hand;
    this.size = [1, 1];
    this.scale = 1;
    this.left = this.top = 0;
    this.fitted = true;
    this.fingers = new Map();
    this.held = null;
    for (const [kind, act] of [["pointerdown", "down"], ["pointermove", "moved"], ["pointerup", "up"], ["pointercancel", "cancel"]]) {
      box.addEventListener(kind, (event) => this[act](event));
    }
    box.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    new ResizeObserver(() => (this.fitted ? this.fit() : this.show())).observe(box);
  }

  fit() {
    const [width, height] = this.size, room = 0.97;
    this.scale = room * Math.min(this.box.clientWidth / width, this.box.clientHeight / height);
    this.left = (this.box.clientWidth - width * this.scale) / 2;
    this.top = (this.box.clientHeight - height * this.scale) / 2;
    this.fitted = true;
    this.show();
  }

  setSize(width, height) {
    const other = this.size[0] !== width || this.size[1] !== height;
    this.size = [width, height];
    if (other || this.fitted) this.fit(); else this.show();
  }

  toScreen([x, y]) { return [this.left + (x + 0.5) * this.scale, this.top + (y + 0.5) * this.scale]; }

  toPicture([x, y]) { return [(x - this.left) / this.scale - 0.5, (y - this.top) / this.scale - 0.5]; }

  middle() { return this.toPicture([this.box.clientWidth / 2, this.box.clientHeight / 2]); }

  zoom(times, at = [this.box.clientWidth / 2, this.box.clientHeight / 2]) {
    const least = 0.5 * Math.min(this.box.clientWidth / this.size[0], this.box.clientHeight / this.size[1]);
    const scale = Math.min(Math.max(this.scale * times, least), MOST);
    this.left = at[0] - ((at[0] - this.left) * scale) / this.scale;
    this.top = at[1] - ((at[1] - this.top) * scale) / this.scale;
    this.scale = scale;
    this.fitted = false;
    this.show();
  }

  // Brings a place of the picture to the middle, at least `scale` large.
  look(xy, scale = this.scale) {
    this.scale = Math.min(Math.max(this.scale, scale), MOST);
    const [x, y] = this.toScreen(xy);
    this.pan(this.box.clientWidth / 2 - x, this.box.clientHeight / 2 - y);
  }

  // Only as far as needed for the place to be seen.
  keepInView(xy) {
    const [x, y] = this.toScreen(xy), edge = 40;
    const off = (value, side) => Math.max(edge - value, 0) - Math.max(value - side + edge, 0);
    const [right, down] = [off(x, this.box.clientWidth), off(y, this.box.clientHeight)];
    if (!this.fitted && (right || down)) this.pan(right, down);
  }

  pan(right, down) {
    this.left += right;
    this.top += down;
    this.fitted = false;
    this.show();
  }

  show() {
    this.box.classList.toggle("near", this.scale >= PIXELS_FROM);
    for (const image of this.images) {
      image.style.width = `${this.size[0]}px`;
      image.style.height = `${this.size[1]}px`;
      image.style.transform = `translate(${this.left}px, ${this.top}px) scale(${this.scale})`;
    }
    this.hand.redraw();
  }

  at(event) {
    const box = this.box.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  wheel(event) {
    event.preventDefault();
    this.zoom(Math.exp(-Math.max(-60, Math.min(60, event.deltaY)) / (event.ctrlKey ? 60 : 250)), this.at(event));
  }

  down(event) {
    if (event.target.closest("button") || event.button > 0) return;
    this.box.setPointerCapture(event.pointerId);
    const at = this.at(event);
    this.fingers.set(event.pointerId, at);
    if (this.fingers.size > 1) { this.letGo(); return; }
    const mark = this.nearest(at, GRAB[event.pointerType] ?? GRAB.mouse);
    this.held = { mark, from: at, last: at, moved: false };
    if (mark === null) return;
    const [x, y] = this.toScreen(this.hand.points()[mark]);
    this.held.off = [x - at[0], y - at[1]];
    this.hand.grab(mark);
  }

  moved(event) {
    if (!this.fingers.has(event.pointerId)) return;
    const at = this.at(event);
    if (this.fingers.size > 1) this.pinch(event.pointerId, at);
    else if (this.held) this.drag(at);
    this.fingers.set(event.pointerId, at);
  }

  drag(at) {
    const held = this.held;
    const far = Math.hypot(at[0] - held.from[0], at[1] - held.from[1]) > (held.mark === null ? STILL : 2);
    held.moved = held.moved || far;
    if (!held.moved) return;
    if (held.mark === null) this.pan(at[0] - held.last[0], at[1] - held.last[1]);
    else this.hand.move(held.mark, this.toPicture([at[0] + held.off[0], at[1] + held.off[1]]));
    held.last = at;
  }

  pinch(id, at) {
    const [other] = [...this.fingers].filter(([key]) => key !== id).map(([, value]) => value);
    const was = this.fingers.get(id);
    const wide = ([x, y]) => Math.max(Math.hypot(x - other[0], y - other[1]), 1);
    this.pan((at[0] - was[0]) / 2, (at[1] - was[1]) / 2);
    this.zoom(wide(at) / wide(was), [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2]);
  }

  up(event) {
    if (!this.fingers.delete(event.pointerId) || !this.held) return;
    const held = this.held;
    this.held = null;
    if (held.mark !== null) this.hand.drop(held.mark, held.moved);
    else if (!held.moved) this.hand.tap(this.toPicture(held.from));
  }

  cancel(event) {
    this.fingers.delete(event.pointerId);
    this.letGo();
  }

  // A second finger came: the landmark goes back where it was.
  letGo() {
    if (this.held && this.held.mark !== null) this.hand.drop(this.held.mark, false);
    this.held = null;
  }

  nearest(at, within) {
    let found = null, least = within;
    this.hand.points().forEach((point, mark) => {
      if (!point) return;
      const [x, y] = this.toScreen(point), off = Math.hypot(x - at[0], y - at[1]);
      // of two that lie on each other the chosen one is meant
      const weight = mark === this.hand.chosen ? 0.5 * off : off;
      if (off < within && weight < least) { found = mark; least = weight; }
    });
    return found;
  }
}

// What was read of a clip, as the page asks for it. A row is a frame of the record; times are s on the clip's own clock.

export const PAWS = ["near_fore", "far_fore", "near_hind", "far_hind"];

export const words = (name) => name.replaceAll("_", " ");
export const seconds = (t, places = 2) => `${t.toFixed(places)} s`;

export class Clip {
  constructor(told) {
    Object.assign(this, told);
    this.rows = this.t.length;
    this.first_s = this.t[0];
    this.last_s = this.t[this.rows - 1];
    this.fps = (this.frame[this.rows - 1] - this.frame[0]) / (this.last_s - this.first_s);  // some may not have been read
    for (const stride of this.strides) {
      stride.from = stride.start ?? this.first_s;
      stride.to = stride.end ?? this.last_s;
    }
  }

  // The first row at or after t.
  from(t) {
    let low = 0, high = this.rows;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.t[middle] < t) low = middle + 1; else high = middle;
    }
    return Math.min(low, this.rows - 1);
  }

  // The row nearest to t.
  nearest(t) {
    const row = this.from(t);
    return row > 0 && t - this.t[row - 1] < this.t[row] - t ? row - 1 : row;
  }

  stridesOf(paw) { return this.strides.filter((stride) => stride.paw === paw); }

  // The first and the last row of a stride: from touchdown to just before the next.
  span(stride) {
    const first = this.from(stride.from), next = this.from(stride.to);
    const last = stride.end === null || this.t[next] < stride.to ? next : next - 1;
    return [first, Math.max(first, last)];
  }

  strideAt(paw, row) {
    const t = this.t[row];
    return this.stridesOf(paw).findLast((stride) => stride.from <= t && t < stride.to) ?? null;
  }

  down(paw, row) {
    const t = this.t[row];
    return this.contacts[paw].some(([down, lift]) => (down ?? -Infinity) <= t && t < (lift ?? Infinity));
  }

  runAt(row) { return this.runs.find((run) => run.start <= this.t[row] && this.t[row] < run.end) ?? null; }
}

// The machine's answer about a stride in words.
export function answer(stride) {
  if (stride.dropped) return `not used: ${stride.why}`;
  const either = stride.either ? ` (${stride.either})` : "";
  return (stride.gait || "no name") + either;
}

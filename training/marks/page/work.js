// What has been said of the pictures, and what was done last. Knows nothing of the page.

export const HIDDEN = 1, SEEN = 2, ABSENT = 0;

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

export class Work {
  // given: what the server tells at the start; send: takes every step in order
  constructor(given, send) {
    this.pictures = given.pictures;
    this.pairs = given.pairs;
    this.names = given.landmarks.map((one) => one.name);
    this.send = send;
    this.done = [];
    this.undone = [];
    for (const step of given.history) this.#remember(step);
  }

  state(row) {
    const picture = this.pictures[row];
    return picture.state ?? picture.start;
  }

  // Puts a step that the server has not confirmed yet on top again.
  replay(step) {
    const picture = this.pictures.find((one) => one.id === step.image_id);
    if (picture) { picture.state = step.after; this.#remember(step); }
  }

  finished() { return this.pictures.filter((one) => one.state?.finished).length; }

  // The picture after `row` that is not finished, going round; -1 when all are.
  open(row) {
    const count = this.pictures.length;
    for (let ahead = 1; ahead <= count; ahead += 1) {
      const at = (row + ahead) % count;
      if (!this.pictures[at].state?.finished) return at;
    }
    return -1;
  }

  // Makes `after` what is said of the picture; nothing happens when it is said already.
  change(row, after) {
    const picture = this.pictures[row];
    const before = picture.state;
    if (same(before ?? null, after) || (before === null && same(picture.start, after))) return false;
    this.#step("edit", picture, before, after);
    return true;
  }

  undo() { return this.#back(this.done, "undo"); }

  redo() { return this.#back(this.undone, "redo"); }

  #back(from, kind) {
    const last = from.at(-1);
    if (!last) return -1;
    const row = this.pictures.findIndex((one) => one.id === last.image_id);
    const [before, after] = kind === "undo" ? [last.after, last.before] : [last.before, last.after];
    this.#step(kind, this.pictures[row], before, after);
    return row;
  }

  #step(kind, picture, before, after) {
    const step = { op: name(), kind, image_id: picture.id, before, after };
    picture.state = after;
    this.#remember(step);
    this.send(step);
  }

  #remember(step) {
    if (step.kind === "edit") { this.done.push(step); this.undone = []; }
    if (step.kind === "undo") this.undone.push(this.done.pop());
    if (step.kind === "redo") this.done.push(this.undone.pop());
    if (step.kind === "taken") { this.done = []; this.undone = []; }
  }
}

function name() {
  const random = crypto.getRandomValues(new Uint32Array(3));
  return `${Date.now().toString(36)}-${[...random].map((one) => one.toString(36)).join("")}`;
}

// --- changes of one state; each gives a new one

const copy = (state) => structuredClone(state);

export function place(state, mark, [x, y], picture) {
  const next = copy(state);
  const seen = next.points[mark]?.[2] || SEEN;
  const within = (value, side) => Math.round(100 * Math.min(Math.max(value, 0), side - 1)) / 100;
  next.points[mark] = [within(x, picture.width), within(y, picture.height), seen];
  return next;
}

export function cover(state, mark) {
  const next = copy(state), point = next.points[mark];
  if (!point || point[2] === ABSENT) return state;
  point[2] = point[2] === HIDDEN ? SEEN : HIDDEN;
  return next;
}

// Out of the picture and back; back means undecided, unless the start knew a place.
export function leaveOut(state, mark, start) {
  const next = copy(state);
  const out = next.points[mark]?.[2] === ABSENT;
  next.points[mark] = out ? copy(start).points[mark] : [0, 0, ABSENT];
  next.finished = next.finished && !next.points.includes(null);
  return next;
}

export function exchange(state, [near, far]) {
  const next = copy(state);
  [next.points[near], next.points[far]] = [next.points[far], next.points[near]];
  return next;
}

export function unsure(state, pair) {
  const next = copy(state);
  next.sides_sure[pair] = !next.sides_sure[pair];
  return next;
}

export function withoutDog(state, start) {
  if (state.no_dog) return { ...copy(start), finished: false };
  return {
    points: Array(6).fill(null), facing: null, sides_sure: { fore: true, hind: true }, finished: false, no_dog: true, start: "network",
  };
}

export function turn(state) {
  return { ...copy(state), facing: state.facing === "right" ? "left" : "right" };
}

// The way that withers and croup tell; null where they do not.
export function told(points) {
  const [withers, croup] = points.slice(4);
  if (!withers?.[2] || !croup?.[2] || withers[0] === croup[0]) return null;
  return withers[0] > croup[0] ? "right" : "left";
}

export const facing = (state) => told(state.points) ?? state.facing;

// Why a picture cannot be finished yet; null when it can.
export function lacking(state, names) {
  if (state.no_dog) return null;
  const open = state.points.findIndex((point) => point === null);
  if (open >= 0) return { mark: open, words: `${names[open].replace("_", " ")}: place it, or say that it is not in the picture` };
  const [withers, croup] = state.points.slice(4);
  if (withers[2] && croup[2] && withers[0] === croup[0] && withers[1] === croup[1]) {
    return { mark: 4, words: "withers and croup lie on one place" };
  }
  return null;
}

// Puts the page together: one picture, six landmarks, and a person.

import { ClipView } from "./clip.js";
import { draw } from "./drawing.js";
import { listen } from "./keys.js";
import { Panel, by } from "./panel.js";
import { Sender } from "./sender.js";
import { Stage } from "./stage.js";
import { cover, exchange, facing, lacking, leaveOut, place, told, turn, unsure, withoutDog, Work } from "./work.js";

const CLOSE = 8;  // screen px per picture px when zooming to a landmark

class Desk {
  constructor(given) {
    this.sender = new Sender(given, (state, words) => {
      this.panel.saving(state, words);
      if (state === "saved") this.recover();
    });
    this.work = new Work(given, (step) => this.sender.add({ ...step, work: given.key }));
    this.panel = new Panel(given, this);
    for (const step of this.sender.left(new Set(given.history.map((one) => one.op)))) this.work.replay(step);
    this.clip = new ClipView(
      { before: by("ghost-before"), after: by("ghost-after"), context: by("context") }, (reason) => this.panel.clipReason(reason),
    );
    this.draft = null;
    this.stage = new Stage(by("stage"), [by("picture"), by("ghost-before"), by("ghost-after"), by("context")], this);
    this.row = 0;
    this.chosen = 0;
    listen(this);
    addEventListener("pagehide", () => this.settle());
    const asked = this.work.pictures.findIndex((one) => `#${one.id}` === location.hash);
    const first = asked < 0 ? this.work.open(-1) : asked;
    this.open(first < 0 ? 0 : first);
    this.sender.run();
  }

  // --- what is shown

  get picture() { return this.work.pictures[this.row]; }

  get state() { return this.draft ?? this.work.state(this.row); }

  open(row) {
    this.settle();
    const sameClip = this.picture.notes.clip && this.picture.notes.clip === this.work.pictures[row].notes.clip;
    this.row = row;
    this.chosen = this.undecided() ?? 0;
    this.panel.picture(this.picture, `pictures/${this.picture.id}`);
    this.stage.setSize(this.picture.width, this.picture.height);
    // the dog of one clip stays about where it is: no one has to zoom anew for each picture
    const point = this.state.points[this.chosen];
    if (!sameClip) this.stage.fit();
    else if (point?.[2]) this.stage.keepInView(point);
    this.refresh();
    this.clip.open(this.picture.id);
  }

  // The server is back: what could not be fetched meanwhile is fetched.
  recover() {
    const image = by("picture");
    if (image.complete && !image.naturalWidth) this.panel.picture(this.picture, `pictures/${this.picture.id}`);
    if (!this.clip.lost || this.looking) return;
    this.clip.lost = false;
    this.clip.open(this.picture.id);
  }

  refresh() {
    this.redraw();
    this.panel.refresh(this);
  }

  redraw() {
    if (this.row === undefined) return;
    draw(by("marks"), this.state.points, this.chosen, (xy) => this.stage.toScreen(xy));
    by("marks").classList.toggle("aside", this.looking);
  }

  get looking() { return this.clip.offset !== 0; }

  undecided() {
    if (this.state.no_dog) return null;
    const found = this.state.points.findIndex((point) => point === null);
    return found < 0 ? null : found;
  }

  // --- changes; while the person looks at another frame nothing is changed

  change(make) {
    if (this.looking) { this.panel.say("This frame is for looking only; Esc goes back to the picture to mark."); return; }
    this.settle();
    this.work.change(this.row, this.saidWay(make(this.work.state(this.row))));
    this.refresh();
  }

  saidWay(state) { return { ...state, facing: facing(state) }; }

  settle() {
    if (!this.draft) return;
    const draft = this.saidWay(this.draft);
    this.draft = null;
    this.work.change(this.row, draft);
    this.refresh();
  }

  choose(mark) {
    this.settle();
    this.chosen = mark;
    const point = this.state.points[mark];
    if (point?.[2]) this.stage.keepInView(point);
    this.refresh();
  }

  put(xy) {
    if (this.state.no_dog) { this.panel.say("No dog here, it says; D takes that back."); return; }
    this.change((state) => place(state, this.chosen, xy, this.picture));
  }

  placeInMiddle() { this.put(this.stage.middle()); }

  nudge(x, y) {
    if (this.looking || this.state.no_dog) { this.change((state) => state); return; }
    const point = this.state.points[this.chosen];
    if (!point?.[2]) { this.placeInMiddle(); return; }
    this.draft = place(this.state, this.chosen, [point[0] + x, point[1] + y], this.picture);
    this.stage.keepInView(this.draft.points[this.chosen]);
    this.refresh();
  }

  exchange() {
    if (this.chosen > 3) { this.panel.say("Withers and croup have no near and far; choose a paw first."); return; }
    this.change((state) => exchange(state, this.work.pairs[this.chosen < 2 ? 0 : 1]));
  }

  unsure() {
    if (this.chosen > 3) { this.panel.say("Withers and croup have no near and far; choose a paw first."); return; }
    this.change((state) => unsure(state, this.chosen < 2 ? "fore" : "hind"));
  }

  cover() { this.change((state) => cover(state, this.chosen)); }

  leaveOut() {
    if (this.state.no_dog) return;
    this.change((state) => leaveOut(state, this.chosen, this.picture.start));
    this.chosen = this.undecided() ?? this.chosen;
    this.refresh();
  }

  withoutDog() { this.change((state) => withoutDog(state, this.picture.start)); }

  turn() { if (told(this.state.points) === null) this.change(turn); }

  again() { this.change(() => ({ ...structuredClone(this.picture.start), finished: false })); }

  finish() {
    this.settle();
    const open = lacking(this.state, this.work.names);
    if (open) {
      this.chosen = open.mark;
      this.refresh();
      this.panel.say(`Not finished: ${open.words}.`);
      return;
    }
    this.backToPicture();
    this.change((state) => ({ ...state, finished: true }));
    const next = this.work.open(this.row);
    if (next < 0) this.panel.say("All pictures are finished. Thank you.");
    else this.open(next);
  }

  undo() { this.step(() => this.work.undo()); }

  redo() { this.step(() => this.work.redo()); }

  step(make) {
    this.settle();
    const row = make();
    if (row < 0) return;
    if (row !== this.row) this.open(row);
    else { this.backToPicture(); this.refresh(); }
  }

  // --- under the hand (stage.js)

  points() { return this.looking ? Array(6).fill(null) : this.state.points.map((point) => (point?.[2] ? point : null)); }

  grab(mark) { this.choose(mark); }

  move(mark, xy) {
    this.draft = place(this.work.state(this.row), mark, xy, this.picture);
    this.redraw();
  }

  drop(mark, moved) {
    if (!moved) this.draft = null;
    this.settle();
    this.refresh();
  }

  tap(xy) {
    const open = this.undecided();
    if (open === null || this.looking) return;
    if (this.state.points[this.chosen] !== null) this.chosen = open;
    this.put(xy);
    this.chosen = this.undecided() ?? this.chosen;
    this.refresh();
  }

  // --- going about

  go(by_) { const row = this.row + by_; if (row >= 0 && row < this.work.pictures.length) this.open(row); }

  async look(by_) { this.settle(); await this.clip.look(by_); this.refresh(); }

  async backToPicture() { if (this.looking) { const done = this.clip.back(); this.refresh(); await done; } }

  async ghost(side) { if (this.clip.reason === null) { await this.clip.toggle(side); this.refresh(); } }

  zoom(times) { this.stage.zoom(times); }

  fit() { this.stage.fit(); }

  zoomToChosen() {
    const point = this.state.points[this.chosen];
    if (point?.[2]) this.stage.look(point, CLOSE);
  }

  help() { by("sheet").showModal(); }
}

const answer = await fetch("work");
globalThis.desk = new Desk(await answer.json());

// The pictures of one clip, each frame laid so that the dog is held in place. Frame i of a film lies at (i + 0.5) / PACE s.

import { ask } from "./ask.js";
import { CROUP, FAINT, RADIUS_SHARE, WITHERS, spot, topline } from "./spots.js";

const PACE = 30;
const AGAIN_MS = 1000, PATIENCE_MS = 400;
const QUALITY = 0.9;
const BEYOND = "#34383e", LINE = "#6e7278";

export class StepFilm {
  // side: as gait.desk.films_in_step tells it; size: [width, height] px of a picture.
  constructor(side, size) {
    Object.assign(this, { side, size, words: "", shots: new Map(), video: null, closed: false });
    this.canvas = document.createElement("canvas");
    [this.canvas.width, this.canvas.height] = size;
    this.pen = this.canvas.getContext("2d", { alpha: false });
  }

  close() {
    this.closed = true;
    this.video?.removeAttribute("src");
    this.video?.load();
    this.shots.clear();
  }

  // Until the film is there; tell(words) says how far it is. Without a film ``words`` says why, and landmarks are shown.
  async open(tell) {
    const address = `/clips/${this.side.clip}/film`;
    let now = await ask(`${address}.json`);
    while (now.state === "making" && !this.closed) {
      tell(now.total ? `${Math.round((100 * now.done) / now.total)} %` : "");
      await new Promise((done) => setTimeout(done, AGAIN_MS));
      now = await ask(`${address}.json`);
    }
    if (now.state !== "ready") { this.words = now.words ?? ""; return; }
    const places = new Map(now.numbers.map((number, place) => [number, place]));
    this.places = this.side.frames.map((number) => places.get(number) ?? Math.max(0, now.numbers.findLastIndex((n) => n <= number)));
    this.of = now.of;
    this.video = document.createElement("video");
    Object.assign(this.video, { muted: true, playsInline: true, preload: "auto", src: `${address}.mp4` });
    await new Promise((done, failed) => {
      this.video.addEventListener("loadeddata", done, { once: true });
      this.video.addEventListener("error", () => failed(new Error("This browser cannot show the film of this clip.")), { once: true });
    });
  }

  // A drawable picture of the frame of that row. One at a time.
  async shot(row) {
    const kept = this.shots.get(row);
    if (kept) return createImageBitmap(kept);
    if (!this.video) { this.plain(); return this.canvas; }
    const there = await this.jump(this.places[row]);
    this.lay(row);
    const blob = there ? await new Promise((done) => this.canvas.toBlob(done, "image/webp", QUALITY)) : null;
    if (!this.closed) this.shots.set(row, blob);
    return this.canvas;
  }

  missing(row) { return Boolean(this.video) && !this.shots.has(row); }

  // To the frame of that place; says whether it is sure to be there. A browser tells that a jump has ended before the
  // frame can be drawn, so the frame's own time is waited for; a page that nobody sees never gets it.
  async jump(place) {
    const { video } = this, t = (place + 0.5) / PACE;
    if (video.currentTime === t && !video.seeking) return true;
    const arrived = new Promise((done, failed) => {
      video.addEventListener("seeked", done, { once: true });
      video.addEventListener("error", () => failed(new Error("The film of this clip cannot be read any more.")), { once: true });
    });
    const drawn = video.requestVideoFrameCallback ? this.drawn(place) : arrived.then(() => true);
    video.currentTime = t;
    await arrived;
    return Promise.race([drawn, new Promise((done) => setTimeout(() => done(false), PATIENCE_MS))]);
  }

  drawn(place) {
    return new Promise((done) => {
      const look = (now, frame) => {
        if (Math.round(frame.mediaTime * PACE) === place) done(true);
        else if (this.video.currentTime === (place + 0.5) / PACE) this.video.requestVideoFrameCallback(look);
      };
      this.video.requestVideoFrameCallback(look);
    });
  }

  // The middle of pixel 0 lies at 0, its edge at -0.5, which a canvas calls 0.
  lay(row) {
    const { pen, size, side: { turn: [[a, c], [b, d]], shift } } = this;
    const [x, y] = shift[row], scale = this.video.videoWidth / this.of[0];
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.fillStyle = BEYOND;
    pen.fillRect(0, 0, ...size);
    pen.setTransform(a / scale, b / scale, c / scale, d / scale, x + (1 - a - c) / 2, y + (1 - b - d) / 2);
    pen.drawImage(this.video, 0, 0);
  }

  plain() {
    const { pen, size: [width, height], side } = this;
    pen.fillStyle = BEYOND;
    pen.fillRect(0, 0, width, height);
    pen.fillStyle = LINE;
    pen.fillRect(0, side.ground + 7, width, 2);
  }

  mark(pen, row, looks) {
    const places = this.side.marks[row].map((place) => (place.length ? place.map((value) => value + 0.5) : null));
    const faint = (...marks) => (marks.every((mark) => this.side.hidden[row][mark] === "1") ? FAINT : 1);
    const radius = RADIUS_SHARE * this.size[1];
    if (places[WITHERS] && places[CROUP]) {
      pen.globalAlpha = faint(WITHERS, CROUP);
      topline(pen, places[WITHERS], places[CROUP], radius);
    }
    places.forEach((place, mark) => {
      if (!place) return;
      pen.globalAlpha = faint(mark);
      spot(pen, place, radius, looks[mark]);
    });
    pen.globalAlpha = 1;
  }
}

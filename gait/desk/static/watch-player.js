// Plays a clip: the film when there is one, else its clock alone. Frame i of the film lies at (i + 0.5) / PACE s.

const PACE = 30;
const RATES = [0.0625, 16];  // what browsers play
const REFRESH = 40;          // frames a second that a loop can end exactly at; faster ones end some frames early

class Film {
  // seen(row) is called for every frame that is shown.
  constructor(video, frames, numbers, seen) {
    this.video = video;
    this.seen = seen;
    const places = new Map(numbers.map((number, index) => [number, index]));
    const rows = new Map(frames.map((number, row) => [number, row]));
    this.indices = frames.map((number) => places.get(number) ?? this.before(numbers, number));
    this.rows = numbers.map((number) => rows.get(number) ?? this.before(frames, number));
    this.wanted = null;
    video.addEventListener("seeked", () => this.arrived());
    this.listen();
  }

  before(numbers, number) { return Math.max(0, numbers.findLastIndex((other) => other <= number)); }

  listen() {
    const { video } = this;
    const tell = (row) => { if (!video.seeking) this.seen(row); };
    if (!video.requestVideoFrameCallback) {
      const look = () => { tell(this.now()); requestAnimationFrame(look); };
      requestAnimationFrame(look);
      return;
    }
    const look = (now, frame) => { tell(this.rowOf(frame.mediaTime + 0.5 / PACE)); video.requestVideoFrameCallback(look); };
    video.requestVideoFrameCallback(look);
  }

  rowOf(time) { return this.rows[Math.min(Math.max(Math.floor(time * PACE), 0), this.rows.length - 1)]; }

  // The row at which the film is; on a busy machine it is told of late.
  now() { return this.wanted ?? this.rowOf(this.video.currentTime); }

  // One jump at a time: a key held down asks for more than can be decoded.
  show(row) {
    const jumping = this.wanted !== null;
    this.wanted = row;
    if (!jumping) this.jump();
  }

  jump() {
    this.going = this.wanted;
    this.video.currentTime = (this.indices[this.going] + 0.5) / PACE;
  }

  arrived() {
    if (this.wanted === null) return;
    if (this.wanted !== this.going) { this.jump(); return; }
    this.wanted = null;
    this.seen(this.going);
  }

  play(speed, fps) {
    this.video.playbackRate = Math.min(Math.max((speed * fps) / PACE, RATES[0]), RATES[1]);
    if (this.video.paused) this.video.play().catch(() => this.video.pause());
  }

  pause() { this.video.pause(); }
}

class Clock {
  constructor(clip, seen, ended) {
    Object.assign(this, { clip, seen, ended, row: 0, running: false });
  }

  show(row) {
    this.row = row;
    this.started = null;
    this.seen(row);
  }

  play(speed) {
    this.speed = speed;
    this.started = null;
    if (!this.running) { this.running = true; requestAnimationFrame((now) => this.tick(now)); }
  }

  tick(now) {
    if (!this.running) return;
    this.started ??= { now, t: this.clip.t[this.row] };
    const t = this.started.t + (this.speed * (now - this.started.now)) / 1000;
    const row = t >= this.clip.last_s ? this.clip.rows - 1 : Math.max(0, this.clip.from(t + 1e-9) - 1);
    if (row !== this.row) { this.row = row; this.seen(row); }
    if (this.row === this.clip.rows - 1) { this.ended(); return; }
    requestAnimationFrame((next) => this.tick(next));
  }

  pause() { this.running = false; }

  now() { return this.row; }
}

// Events: "row" = another frame is shown; "state" = playing, speed or loop changed.
export class Player extends EventTarget {
  constructor(clip) {
    super();
    Object.assign(this, { clip, row: 0, asked: 0, playing: false, speed: 1, loop: null });
    this.screen = new Clock(clip, (row) => this.seen(row), () => this.ended());
  }

  useFilm(video, numbers) {
    this.screen.pause();
    this.screen = new Film(video, this.clip.frame, numbers, (row) => this.seen(row));
    video.addEventListener("ended", () => this.ended());
    this.screen.show(this.asked);
    if (this.playing) this.play();
  }

  tell(what) { this.dispatchEvent(new Event(what)); }

  seen(row) {
    this.row = row;
    if (this.playing) this.asked = row;
    this.tell("row");
    if (this.playing && this.loop && this.isOver(row)) this.back();
  }

  isOver(row) {
    const early = Math.floor((this.clip.fps * this.speed) / REFRESH);
    return row < this.loop.first || row >= Math.max(this.loop.last - early, this.loop.first + 1);
  }

  back() { this.screen.show(this.loop.first); }

  ended() {
    if (this.playing && this.loop) { this.back(); this.screen.play(this.speed, this.clip.fps); return; }
    this.pause(this.clip.rows - 1);
  }

  go(row) {
    this.asked = Math.min(Math.max(row, 0), this.clip.rows - 1);
    if (this.loop && (this.asked < this.loop.first || this.asked > this.loop.last)) this.setLoop(null);
    this.screen.show(this.asked);
  }

  // Rises from frame to frame also while an earlier jump is under way.
  step(by) {
    this.pause();
    this.go(this.asked + by);
  }

  play() {
    if (!this.loop && this.asked >= this.clip.rows - 1) this.go(0);
    this.playing = true;
    this.screen.play(this.speed, this.clip.fps);
    this.tell("state");
  }

  pause(row) {
    if (!this.playing) return;
    this.playing = false;
    this.screen.pause();
    this.go(row ?? this.screen.now());  // the film rests in the middle of the frame that is seen
    this.tell("state");
  }

  toggle() { if (this.playing) this.pause(); else this.play(); }

  setSpeed(speed) {
    this.speed = speed;
    if (this.playing) this.screen.play(speed, this.clip.fps);
    this.tell("state");
  }

  // span: [first row, last row] of a stride, or null.
  setLoop(span) {
    this.loop = span && { first: span[0], last: span[1] };
    if (span && (this.asked < span[0] || this.asked > span[1])) this.go(span[0]);
    this.tell("state");
  }
}

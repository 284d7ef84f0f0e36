// Neighbouring frames of the clip: ghosts over the picture, and other frames to look at.

export class ClipView {
  // parts: { before, after, context } images; told(reason | null) when frames cannot be had
  constructor(parts, told) {
    this.parts = parts;
    this.told = told;
    this.ghosts = { "-1": false, "1": false };
    this.offset = 0;
    this.id = null;
    this.reason = null;
    this.lost = false;  // the server was gone when something was asked for
  }

  // Another picture: whether its clip can be reached is asked for at once.
  async open(id) {
    this.id = id;
    this.offset = 0;
    this.reason = "";
    this.show();
    this.told(this.reason = await this.ask(id, 0));
    if (this.id === id) await this.show();
  }

  async ask(id, offset) {
    try {
      const answer = await fetch(address(id, offset));
      if (answer.ok) return null;
      return (await answer.json()).error;
    } catch {
      this.lost = true;
      return "the server does not answer.";
    }
  }

  async look(by) {
    if (this.reason) return;
    const id = this.id, was = this.offset, wanted = was + by;
    this.offset = wanted;  // at once, so that nothing that is pressed meanwhile changes the picture
    const reason = wanted === 0 ? null : await this.ask(id, wanted);
    if (this.id !== id || this.offset !== wanted) return;
    if (reason !== null) this.offset = was;
    this.told(reason);
    await this.show();
  }

  async back() { this.offset = 0; this.told(this.reason); await this.show(); }

  async toggle(side) { this.ghosts[side] = !this.ghosts[side]; await this.show(); }

  async show() {
    const { before, after, context } = this.parts, able = this.reason === null;
    await Promise.all([
      put(before, able && !this.offset && this.ghosts["-1"] ? address(this.id, -1) : null),
      put(after, able && !this.offset && this.ghosts["1"] ? address(this.id, 1) : null),
      put(context, this.offset ? address(this.id, this.offset) : null),
    ]);
  }
}

const address = (id, offset) => `pictures/${id}/frames/${offset}`;

async function put(image, source) {
  if (source === null) { image.hidden = true; return; }
  if (image.getAttribute("src") !== source) {
    image.src = source;
    try { await image.decode(); } catch { image.hidden = true; return; }
  }
  image.hidden = image.getAttribute("src") !== source;
}

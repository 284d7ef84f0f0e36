// How landmarks look on a picture, as in the films that pawfall writes: near ones are discs, far ones rings, hidden ones faint.

export const RADIUS_SHARE = 0.011, FAINT = 0.4;
export const EDGE = "#000000";
const TOPLINE = "#f0e442";
export const [WITHERS, CROUP] = [4, 5];

// pen: of a canvas; ring: of a far paw
export function spot(pen, [x, y], radius, { colour, ring }) {
  const edge = 0.25 * radius;
  for (const [width, tint] of ring ? [[2.6 * edge, EDGE], [1.3 * edge, colour]] : []) {
    stroke(pen, width, tint, () => pen.arc(x, y, 1.25 * radius, 0, 2 * Math.PI));
  }
  for (const [size, tint] of ring ? [] : [[radius + edge, EDGE], [radius, colour]]) {
    pen.beginPath();
    pen.arc(x, y, size, 0, 2 * Math.PI);
    pen.fillStyle = tint;
    pen.fill();
  }
}

export function topline(pen, withers, croup, radius) {
  for (const [width, colour] of [[0.7, EDGE], [0.35, TOPLINE]]) {
    stroke(pen, width * radius, colour, () => { pen.moveTo(...withers); pen.lineTo(...croup); });
  }
}

export function stroke(pen, width, colour, path) {
  pen.beginPath();
  path();
  pen.lineWidth = width;
  pen.strokeStyle = colour;
  pen.stroke();
}

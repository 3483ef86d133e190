// Names beside their points: clear of harness lines, of one another and of the boxes, as near as can be.

const AROUND = Array.from({length: 16}, (_, n) => [Math.cos((n * Math.PI) / 8), Math.sin((n * Math.PI) / 8)]);
const APART = [3, 10, 20, 34, 52];

// Whether a line from p to q, with half its width, meets a box [x0, y0, x1, y1].
function meets(line, box) {
  const [x0, y0, x1, y1] = [box[0] - line.half, box[1] - line.half, box[2] + line.half, box[3] + line.half];
  let from = 0, to = 1;
  for (const [start, way, low, high] of [[line.x, line.dx, x0, x1], [line.y, line.dy, y0, y1]]) {
    if (Math.abs(way) < 1e-9) {
      if (start < low || start > high) return false;
      continue;
    }
    const a = (low - start) / way, b = (high - start) / way;
    from = Math.max(from, Math.min(a, b));
    to = Math.min(to, Math.max(a, b));
  }
  return from <= to;
}

const overlaps = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];

// The box of a label of that size when it stands in a direction from its point.
function standing(label, [cos, sin], apart) {
  const reach = label.r + apart;
  const x = label.x + cos * reach + (cos > 0.3 ? 0 : cos < -0.3 ? -label.w : -label.w / 2);
  const y = label.y + sin * reach + (sin > 0.3 ? 0 : sin < -0.3 ? -label.h : -label.h / 2);
  return [x, y, x + label.w, y + label.h];
}

// How far a point is from a box.
const away = (box, x, y) => Math.hypot(Math.max(box[0] - x, 0, x - box[2]), Math.max(box[1] - y, 0, y - box[3]));

const EDGE_PX = 34; // metres are written along the left edge

function cost(box, apart, label, labels, lines, boxes, width, height) {
  let sum = apart / 100;
  const own = away(box, label.x, label.y); // a name nearer to another point would be taken for its name
  for (const other of labels) if ((other.x !== label.x || other.y !== label.y) && away(box, other.x, other.y) <= own) sum += 0.6;
  for (const line of lines) if (meets(line, box)) sum += 10;
  for (const other of boxes) if (overlaps(box, other)) sum += 8;
  if (box[0] < EDGE_PX || box[1] < 0 || box[2] > width || box[3] > height) sum += 50;
  return sum;
}

const CLEAR = 0.55; // nothing overlaps: the rest is distance

// Boxes of labels (key, x, y, r of the point; w, h of the text), in the same order. A name stays on the side of its
// point where it was, in `kept`, while it is clear there: names that jump about are hard to read, and slow. While
// something is dragged only names in `moving` are looked at; the others stand where they were (null: all are looked at).
function placeLabels(labels, lines, points, width, height, kept, moving = null) {
  const boxes = [...points];
  return labels.map((label) => {
    if (moving && kept.has(label.key) && !moving.has(label.key)) {
      const [n, apart] = kept.get(label.key), box = standing(label, AROUND[n], apart);
      boxes.push(box);
      return box;
    }
    const priced = (side) => {
      const box = standing(label, AROUND[side[0]], side[1]);
      return [cost(box, side[1], label, labels, lines, boxes, width, height), side, box];
    };
    let best = kept.has(label.key) ? priced(kept.get(label.key)) : [Infinity];
    for (const apart of best[0] < CLEAR + 0.5 ? [] : APART) {
      for (let n = 0; n < AROUND.length; n++) {
        const other = priced([n, apart]);
        if (other[0] < best[0] - 1e-9) best = other;
      }
      if (best[0] < CLEAR) break;
    }
    kept.set(label.key, best[1]);
    boxes.push(best[2]);
    return best[2];
  });
}

/* Figures in the picture: each tied to its spot by a leader, none over another. */

const SVG = "http://www.w3.org/2000/svg";
const ANGLES = 20;
const REACHES = [30, 52, 78, 108, 145, 190, 240, 300];
const AIR = 5;
const COVERED = 0.14; // of the picture, at most, by labels

const overlaps = (a, b, air) =>
  a.x0 < b.x1 + air && b.x0 < a.x1 + air && a.y0 < b.y1 + air && b.y0 < a.y1 + air;

function crosses(p, q, r, s) {
  const side = (a, b, c) => (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
  return side(p, q, r) * side(p, q, s) < 0 && side(r, s, p) * side(r, s, q) < 0;
}

/** The nearest point of a box to a point. */
const edgeOf = (box, point) => ({
  x: Nose.clamp(point.x, box.x0, box.x1), y: Nose.clamp(point.y, box.y0, box.y1),
});

/** Places for labels. wanted: [{anchor, width, height, last}], most important first.

   Returns a box or null for each: inside the field, clear of what is taken and of one another. */
Nose.placeLabels = function (wanted, field, taken, middle) {
  const boxes = taken.slice(), leaders = [];
  let room = COVERED * (field.x1 - field.x0) * (field.y1 - field.y0);
  const dots = wanted.map(({ anchor }) => (
    { x0: anchor.x - 6, y0: anchor.y - 6, x1: anchor.x + 6, y1: anchor.y + 6 }));
  return wanted.map(({ anchor, width, height, last }, index) => {
    const out = Math.atan2(anchor.y - middle.y, anchor.x - middle.x);
    let best = null;
    if (width * height > room) return null;
    REACHES.forEach((reach, ring) => {
      for (let i = 0; i < ANGLES; i++) {
        const turn = 2 * Math.PI * i / ANGLES, angle = out + turn;
        const x = anchor.x + (reach + width / 2) * Math.cos(angle);
        const y = anchor.y + (reach + height / 2) * Math.sin(angle);
        const box = {
          x0: Math.round(x - width / 2), y0: Math.round(y - height / 2),
          x1: Math.round(x + width / 2), y1: Math.round(y + height / 2),
        };
        const inside = box.x0 >= field.x0 && box.y0 >= field.y0 && box.x1 <= field.x1
          && box.y1 <= field.y1;
        if (!inside || boxes.some((other) => overlaps(box, other, AIR))) continue;
        const end = edgeOf(box, anchor);
        const key = ring + ":" + i;
        let cost = reach + 12 * (1 - Math.cos(turn)) - (key === last ? 30 : 0);
        dots.forEach((dot, k) => { if (k !== index && overlaps(box, dot, 2)) cost += 60; });
        leaders.forEach((line) => { if (crosses(anchor, end, line[0], line[1])) cost += 90; });
        if (!best || cost < best.cost) best = { ...box, cost, key, end };
      }
    });
    if (best) {
      boxes.push(best);
      room -= width * height;
      leaders.push([anchor, best.end]);
    }
    return best;
  });
};

function drawn(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  if (text) made.textContent = text;
  return made;
}

/** Lines and marks over the picture, and the labels, which are buttons. */
Nose.Overlay = class {
  constructor(findings, chosen) {
    this.sheet = Nose.byId("overlay");
    this.holder = Nose.byId("callouts");
    this.labels = new Map();
    for (const finding of findings) {
      if (!finding.at) continue;
      const label = document.createElement("button");
      label.type = "button";
      label.className = "callout v-" + finding.kind;
      label.hidden = true;
      const number = document.createElement("b");
      number.textContent = finding.number ? String(finding.number) : "•";
      label.append(number, finding.figure);
      label.setAttribute("aria-label",
        (finding.number ? "Tight spot " + finding.number + ", " : "") + finding.names + ": "
        + finding.word + ", " + finding.figure);
      label.addEventListener("click", () => chosen(finding));
      this.holder.append(label);
      this.labels.set(finding.id, { label, last: "" });
    }
  }

  /** Draw it all. spots: [{finding, at, ends}] in pixels, most important first. */
  draw({ spots, chosen, width, height, labelled, compass, scale }) {
    this.sheet.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.sheet.replaceChildren();
    const taken = [...this.compass(compass, height), this.scale(scale, width, height)];
    const lens = document.querySelector(".lens");
    taken.push({ x0: width - lens.offsetWidth - 12, y0: 0, x1: width, y1: lens.offsetHeight + 12 });
    const placed = labelled ? this.place(spots, width, height, taken) : spots.map(() => null);
    for (const { label } of this.labels.values()) {
      label.hidden = true;
      label.classList.remove("chosen");
    }
    spots.forEach((spot, i) => { if (placed[i]) this.leader(spot, placed[i]); });
    spots.forEach((spot) => this.mark(spot, spot.finding === chosen));
    spots.forEach((spot, i) => { if (placed[i]) this.put(spot, placed[i], spot.finding === chosen); });
    return placed.filter((box, i) => !box && spots[i].finding.number).length;
  }

  place(spots, width, height, taken) {
    const wanted = spots.map(({ finding, at }) => {
      const own = this.labels.get(finding.id);
      if (!own.width) {
        own.label.hidden = false;
        own.width = Math.ceil(own.label.offsetWidth) + 1;
        own.height = Math.ceil(own.label.offsetHeight);
      }
      return { anchor: at, width: own.width, height: own.height, last: own.last };
    });
    const field = { x0: 6, y0: 6, x1: width - 6, y1: height - 6 };
    return Nose.placeLabels(wanted, field, taken, { x: width / 2, y: height / 2 });
  }

  /** Forget the labels' sizes: the page's fonts or its width have changed. */
  measureAgain() { for (const own of this.labels.values()) own.width = 0; }

  put({ finding }, box, chosen) {
    const own = this.labels.get(finding.id);
    own.last = box.key;
    own.label.hidden = false;
    own.label.style.left = box.x0 + "px";
    own.label.style.top = box.y0 + "px";
    own.label.classList.toggle("chosen", chosen);
  }

  leader({ finding, at }, box) {
    const points = `${at.x},${at.y} ${box.end.x},${box.end.y}`;
    this.sheet.append(
      drawn("polyline", { points, class: "halo" }),
      drawn("polyline", { points, class: "leader v-" + finding.kind }));
  }

  mark({ finding, at, ends }, chosen) {
    const kind = "v-" + finding.kind;
    if (chosen && ends) {
      const [a, b] = ends;
      const line = { x1: a.x, y1: a.y, x2: b.x, y2: b.y };
      this.sheet.append(
        drawn("line", { ...line, class: "halo" }), drawn("line", { ...line, class: "gap " + kind }),
        ...ends.map((end) => drawn("circle", { cx: end.x, cy: end.y, r: 4, class: "dot " + kind })));
    }
    if (chosen) this.sheet.append(drawn("circle", { cx: at.x, cy: at.y, r: 22, class: "ring " + kind }));
    this.sheet.append(drawn("circle", { cx: at.x, cy: at.y, r: chosen && ends ? 2 : 5, class: "dot " + kind }));
  }

  /** Which way is which, in the lower left corner. Returns the boxes that it takes. */
  compass(axes, height) {
    const cx = 62, cy = height - 56, long = 30, texts = [];
    for (const { name, x, y } of axes) {
      if (Math.hypot(x, y) < 0.35) continue;
      const end = { x: cx + long * x, y: cy - long * y }, wide = 7.8 * name.length;
      this.sheet.append(drawn("line", { x1: cx, y1: cy, x2: end.x, y2: end.y, class: "axis" }));
      const left = Nose.clamp(end.x - wide / 2, 4, 130), middle = end.y + (y > 0.3 ? -12 : 14);
      const box = { x0: left, y0: middle - 9, x1: left + wide, y1: middle + 9 };
      if (texts.some((other) => overlaps(box, other, 1))) continue;
      texts.push(box);
      this.sheet.append(drawn("text", { x: left, y: middle + 5, class: "small" }, name));
    }
    return [{ x0: 0, y0: height - 112, x1: 150, y1: height }];
  }

  /** A bar of a round length, in the lower right corner. */
  scale({ pixels, text }, width, height) {
    const x1 = width - 14, x0 = x1 - pixels, y = height - 14;
    this.sheet.append(
      drawn("path", { d: `M${x0} ${y - 6}V${y}H${x1}V${y - 6}`, class: "bar" }),
      drawn("text", { x: (x0 + x1) / 2, y: y - 10, "text-anchor": "middle", class: "small" }, text));
    const wide = Math.max(pixels, 8 * text.length) / 2 + 6, middle = (x0 + x1) / 2;
    return { x0: middle - wide, y0: height - 44, x1: width, y1: height };
  }
};

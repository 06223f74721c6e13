/* The stage: parts, light, tight spots, drawn only when something has changed. */

const PAPER = "#fbf8f0";
const FADED = 0.1, LOOKED_THROUGH = 0.13;
const ROUND_LENGTHS = {
  in: [1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 6, 12, 24, 48].map((inches) => inches * 25.4),
  mm: [2, 5, 10, 20, 50, 100, 200, 500, 1000],
};

Nose.Stage = class {
  /** gl: a WebGL context that already works. */
  constructor(data, canvas, gl) {
    this.data = data;
    this.box = Nose.byId("stage");
    this.renderer = new THREE.WebGLRenderer({ canvas, context: gl });
    this.renderer.localClippingEnabled = true;
    this.renderer.setClearColor(PAPER, 1);
    this.scene = new THREE.Scene();
    this.planes = [];
    this.parts = data.parts.map((part) => Nose.buildPart(part, this.planes));
    this.parts.forEach((part) => {
      part.group.visible = part.placed;
      this.scene.add(part.group);
    });
    this.byName = new Map(this.parts.map((part) => [part.name, part]));
    this.cuts = new Nose.Cuts(this.scene, this.renderer, this.planes);
    this.eye = new Nose.Eye(() => this.wake());
    this.lamp = new THREE.DirectionalLight("#ffffff", 0.48);
    this.scene.add(new THREE.HemisphereLight("#ffffff", "#b9b2a4", 0.55), this.lamp, this.lamp.target);
    this.overlay = new Nose.Overlay(data.findings, (finding) => this.chosenInPicture(finding));
    this.chosenInPicture = () => {};
    Object.assign(this, { apart: 0, ghosts: 0.14, fade: true, labelled: true, outer: true, rooms: false, chosen: null });
    this.bounds = this.boundsOf(this.parts.filter((part) => part.placed));
    if (this.bounds.isEmpty()) this.bounds = this.boundsOf(this.parts);
    new ResizeObserver(() => { this.overlay.measureAgain(); this.wake(); }).observe(this.box);
    this.dress();
    this.whole("grille", true);
  }

  /** The box of every body of some parts, where they stand. */
  boxesOf(parts) {
    return parts.flatMap((part) => part.bodies.filter((body) => !body.room).map(
      ({ mesh }) => mesh.geometry.boundingBox.clone().translate(part.group.position)));
  }

  boundsOf(parts) {
    return this.boxesOf(parts).reduce((all, box) => all.union(box), new THREE.Box3());
  }

  get width() { return this.box.clientWidth || 1; }
  get height() { return this.box.clientHeight || 1; }

  /** Draw before the next frame; several changes make one picture. */
  wake() {
    if (this.awake) return;
    this.awake = true;
    requestAnimationFrame(() => this.draw());
  }

  draw() {
    this.awake = false;
    const { width, height, eye } = this;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    if (this.sized !== `${width} ${height} ${ratio}`) {
      this.sized = `${width} ${height} ${ratio}`;
      this.renderer.setPixelRatio(ratio);
      this.renderer.setSize(width, height, false);
    }
    eye.aim(width, height);
    const { right, up, towards } = eye.axes();
    this.lamp.position.copy(towards).addScaledVector(right, -0.5).addScaledVector(up, 0.8);
    const middle = this.bounds.getCenter(new THREE.Vector3());
    const reach = 2 * this.bounds.getSize(new THREE.Vector3()).length() + 1000;
    this.cuts.trim(this.parts);
    this.cuts.refresh(this.parts, middle, reach);
    this.renderer.render(this.scene, eye.camera);
    const left = this.overlay.draw({
      spots: this.spots(), chosen: this.chosen, width, height, labelled: this.labelled,
      compass: [["front", { x: -1, y: 0, z: 0 }], ["up", { x: 0, y: 0, z: 1 }],
        ["car's right", { x: 0, y: 1, z: 0 }]].map(([name, way]) => (
        { name, x: right.dot(way), y: up.dot(way) })),
      scale: this.scale(),
    });
    this.told(left);
  }

  /** What a screen reader and the line below the picture are told of the labels. */
  told(left) {
    const texts = [];
    if (this.apart > 0.01) texts.push("Tight spots are not marked while it is taken apart.");
    else if (this.labelled && left) {
      texts.push(left === 1 ? "1 figure finds no room here; its answer has it."
        : left + " figures find no room here; their answers have them.");
    }
    const line = Nose.byId("left-out"), said = texts.join(" ");
    if (line.textContent !== said) line.textContent = said;
    line.hidden = !said;
  }

  scale() {
    const longest = Math.min(140, this.width / 4) * this.eye.pixelMm;
    const fitting = ROUND_LENGTHS[this.data.unit].filter((mm) => mm <= longest);
    const mm = fitting.pop() || longest;
    const text = this.data.unit === "in" ? Nose.length(mm, "in") : mm + " mm";
    return { pixels: mm / this.eye.pixelMm, text };
  }

  /** Tight spots in sight, the chosen one first, then worst first. */
  spots() {
    if (this.apart > 0.01) return [];
    const { width, height } = this, found = [];
    for (const finding of this.data.findings) {
      if (!finding.at || !(finding.number || finding === this.chosen)) continue;
      if (finding.parts.some((name) => !this.byName.get(name).group.visible)) continue;
      const at = new THREE.Vector3().fromArray(finding.at);
      if (this.cuts.hides(at)) continue;
      const seen = this.eye.project(at, width, height);
      if (seen.x < 0 || seen.y < 0 || seen.x > width || seen.y > height) continue;
      const ends = finding.ends && finding.ends.map(
        (end) => this.eye.project(new THREE.Vector3().fromArray(end), width, height));
      found.push({ finding, at: seen, ends });
    }
    return found.sort((a, b) => (b.finding === this.chosen) - (a.finding === this.chosen));
  }

  /** Bring colours and places up to date with what is wanted. */
  dress() {
    const alone = this.fade && this.chosen && this.chosen.parts.length ? this.chosen.parts : null;
    for (const part of this.parts) {
      part.group.position.copy(part.away).multiplyScalar(this.apart);
      part.faded = alone ? !alone.includes(part.name) : this.outer && part.outer;
      const skinned = alone ? FADED : LOOKED_THROUGH, inked = alone ? 0.16 : 0.5;
      for (const body of part.bodies) {
        const { skin, ink, ghost } = body;
        const solid = body.room && !this.rooms ? 0 : ghost ? this.ghosts : 1;
        const faded = part.faded && (alone || !body.room);
        const opacity = faded ? (ghost ? 0 : skinned) : solid;
        skin.transparent = ghost || faded;
        skin.depthWrite = !skin.transparent;
        skin.opacity = opacity;
        ink.opacity = faded ? (ghost ? 0 : inked) : ghost ? Math.min(0.75, 4 * opacity) : 0.85;
        body.seen = opacity > 0;
        skin.needsUpdate = true;
      }
    }
    this.wake();
  }

  show(part, wanted) {
    part.group.visible = wanted;
    this.wake();
  }

  /** The whole of what is shown, from a named standpoint or from where one stands. */
  whole(name, jump) {
    const shown = this.parts.filter((part) => part.group.visible);
    const inner = shown.filter((part) => this.apart || !(this.outer && part.outer));
    const parts = inner.length ? inner : shown.length ? shown : this.parts;
    this.eye.go(this.eye.fitting(this.boxesOf(parts), name, this.width, this.height), jump);
  }

  /** Mark a finding's spot and go there. Returns what had to be changed to see it, in words. */
  choose(finding) {
    const changes = [];
    this.chosen = finding;
    const parts = finding.parts.map((name) => this.byName.get(name));
    parts.filter((part) => !part.group.visible).forEach((part) => {
      part.group.visible = true;
      changes.push(part.name + " is shown again");
    });
    if (this.apart) {
      this.apart = 0;
      changes.push("it is put together again");
    }
    this.dress();
    const box = this.boundsOf(parts);
    const at = finding.at ? new THREE.Vector3().fromArray(finding.at) : box.getCenter(new THREE.Vector3());
    if (finding.at && this.cuts.reveal(at).length) changes.push("the cut that hid it is off");
    const there = finding.at ? this.standpoint(finding, at, parts) : {
      ...this.eye.fitting(this.boxesOf(parts), "grille", this.width, this.height) };
    if (!finding.at) there.half *= 1.15;
    this.eye.go(there);
    return changes;
  }

  /** From where a gap is seen square: from its own side of the car, or from ahead. */
  standpoint(finding, at, parts) {
    const gap = finding.ends
      ? new THREE.Vector3().fromArray(finding.ends[1]).sub(new THREE.Vector3().fromArray(finding.ends[0]))
      : new THREE.Vector3(1, 0, 0);
    const across = Math.abs(gap.y) > Math.max(Math.abs(gap.x), Math.abs(gap.z));
    const right = at.y > 1;
    const [yaw, pitch] = across ? [180, 22] : [right ? 112 : -112, 14];
    const sizes = parts.map((part) => this.boundsOf([part]).getSize(new THREE.Vector3()).length());
    const half = Nose.clamp(0.4 * Math.min(...sizes), 1.6 * gap.length(), 240);
    return { yaw, pitch, half: Math.max(half, 70), x: at.x, y: at.y, z: at.z };
  }

  unmark() {
    this.chosen = null;
    this.dress();
  }

  /** The part under a pixel, or null; what is cut away does not count. */
  partAt(x, y) {
    const ray = new THREE.Raycaster();
    const seen = new THREE.Vector2(2 * x / this.width - 1, 1 - 2 * y / this.height);
    ray.setFromCamera(seen, this.eye.camera);
    const meshes = this.parts.filter((part) => part.group.visible && !part.faded)
      .flatMap((part) => part.bodies.filter((body) => !body.ghost).map((body) => body.mesh));
    const hit = ray.intersectObjects(meshes, false).find(({ point }) => !this.cuts.hides(point));
    return hit ? hit.object.userData.part : null;
  }
};

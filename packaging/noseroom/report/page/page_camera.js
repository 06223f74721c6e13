/* Where the nose is looked at from. Orthographic, as a drawing is: lengths stay comparable. */

const DEG = Math.PI / 180;
const STANDPOINTS = {
  grille: [-148, 24], front: [180, 0], left: [-90, 0], right: [90, 0], top: [0, 90], rear: [-35, 28],
};
const GLIDE_MS = 380;
const MARGIN = 1.16;
const NEAREST_MM = 12, FARTHEST_MM = 6000;

/** yaw, pitch: degrees; 180, 0 looks from ahead. half: half the picture's shorter side, mm. */
Nose.Eye = class {
  constructor(changed) {
    this.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, 1, 40000);
    this.camera.matrixAutoUpdate = false;
    this.changed = changed;
    this.now = { yaw: -148, pitch: 24, half: 500, x: 0, y: 0, z: 0 };
    this.gliding = 0;
  }

  /** Right, up and towards the viewer, as unit vectors of the car's frame. */
  axes() {
    const a = this.now.yaw * DEG, p = this.now.pitch * DEG;
    const towards = new THREE.Vector3(
      Math.cos(p) * Math.cos(a), Math.cos(p) * Math.sin(a), Math.sin(p));
    const right = new THREE.Vector3(-Math.sin(a), Math.cos(a), 0);
    return { right, up: towards.clone().cross(right), towards };
  }

  /** Ready the camera for a picture of width × height pixels. */
  aim(width, height) {
    const { right, up, towards } = this.axes(), { now, camera } = this;
    const unit = now.half / Math.min(width, height) * 2;
    camera.left = -(camera.right = unit * width / 2);
    camera.bottom = -(camera.top = unit * height / 2);
    camera.updateProjectionMatrix();
    camera.matrix.makeBasis(right, up, towards)
      .setPosition(now.x + 15000 * towards.x, now.y + 15000 * towards.y, now.z + 15000 * towards.z);
    camera.updateMatrixWorld(true);
    this.pixelMm = unit;
  }

  /** Go to another standpoint, gliding unless motion is unwanted. Yaw takes the shorter way. */
  go(there, jump) {
    const from = { ...this.now }, to = { ...from, ...there };
    to.yaw = from.yaw + ((to.yaw - from.yaw) % 360 + 540) % 360 - 180;
    const ticket = ++this.gliding, begun = performance.now();
    if (jump || Nose.calm()) {
      this.now = to;
      this.changed();
      return;
    }
    const step = (time) => {
      if (ticket !== this.gliding) return;
      const t = Nose.clamp((time - begun) / GLIDE_MS, 0, 1), s = t * t * (3 - 2 * t);
      for (const key of Object.keys(to)) this.now[key] = from[key] + s * (to[key] - from[key]);
      this.changed();
      if (t < 1) requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  turn(yaw, pitch) {
    this.gliding++;
    this.now.yaw += yaw;
    this.now.pitch = Nose.clamp(this.now.pitch + pitch, -90, 90);
    this.changed();
  }

  /** Shift the picture by pixels. */
  shift(dx, dy) {
    this.gliding++;
    const { right, up } = this.axes(), mm = this.pixelMm || 1;
    for (const k of ["x", "y", "z"]) this.now[k] += mm * (dy * up[k] - dx * right[k]);
    this.changed();
  }

  near(factor) {
    this.gliding++;
    this.now.half = Nose.clamp(this.now.half * factor, NEAREST_MM, FARTHEST_MM);
    this.changed();
  }

  /** A standpoint, by name or as it is, from which boxes fill the picture. */
  fitting(boxes, name, width, height) {
    const [yaw, pitch] = STANDPOINTS[name] || [this.now.yaw, this.now.pitch];
    const kept = this.now;
    this.now = { ...kept, yaw, pitch };
    const { right, up, towards } = this.axes();
    this.now = kept;
    const spans = [right, up, towards].map((way) => {
      const ends = boxes.map((box) => {
        const middle = box.getCenter(new THREE.Vector3()).dot(way);
        const half = box.getSize(new THREE.Vector3()).multiplyScalar(0.5);
        const reach = Math.abs(half.x * way.x) + Math.abs(half.y * way.y) + Math.abs(half.z * way.z);
        return [middle - reach, middle + reach];
      });
      return [Math.min(...ends.map((end) => end[0])), Math.max(...ends.map((end) => end[1]))];
    });
    const [wide, tall] = spans.map(([low, high]) => (high - low) / 2);
    const shorter = Math.min(width, height);
    const half = MARGIN * Math.max(wide * shorter / width, tall * shorter / height, NEAREST_MM);
    const [x, y, z] = ["x", "y", "z"].map((k) => [right, up, towards].reduce(
      (sum, way, i) => sum + way[k] * (spans[i][0] + spans[i][1]) / 2, 0));
    return { yaw, pitch, half, x, y, z };
  }

  /** Where a point of the car is in the picture, px from its upper left corner. */
  project(point, width, height) {
    const seen = point.clone().project(this.camera);
    return { x: (seen.x + 1) / 2 * width, y: (1 - seen.y) / 2 * height };
  }
};

/** Fingers and mouse on the stage. tapped(x, y): a press that was no drag. */
Nose.listenToHands = function (stage, eye, tapped) {
  const down = new Map();
  let spread = 0, travelled = 0;
  const gap = () => {
    const [a, b] = [...down.values()];
    return Math.hypot(a.x - b.x, a.y - b.y);
  };
  stage.addEventListener("pointerdown", (event) => {
    if (event.target.closest("button")) return;
    stage.setPointerCapture(event.pointerId);
    down.set(event.pointerId, { x: event.clientX, y: event.clientY });
    travelled = down.size === 1 ? 0 : 99;
    spread = down.size === 2 ? gap() : 0;
  });
  stage.addEventListener("pointermove", (event) => {
    const last = down.get(event.pointerId);
    if (!last) return;
    const dx = event.clientX - last.x, dy = event.clientY - last.y;
    last.x = event.clientX;
    last.y = event.clientY;
    travelled += Math.abs(dx) + Math.abs(dy);
    if (down.size === 2) {
      eye.shift(dx / 2, dy / 2);
      const wider = gap();
      if (spread > 0 && wider > 0) eye.near(spread / wider);
      spread = wider;
    } else if (event.shiftKey || event.buttons === 2 || event.buttons === 4) eye.shift(dx, dy);
    else eye.turn(-dx * 0.4, dy * 0.4);
  });
  const up = (event) => {
    if (!down.delete(event.pointerId)) return;
    const box = stage.getBoundingClientRect();
    if (event.type === "pointerup" && travelled < 6 && !down.size) {
      tapped(event.clientX - box.left, event.clientY - box.top);
    }
  };
  stage.addEventListener("pointerup", up);
  stage.addEventListener("pointercancel", up);
  stage.addEventListener("contextmenu", (event) => event.preventDefault());
  stage.addEventListener("wheel", (event) => {
    // The page scrolls with the wheel, unless the picture has been chosen.
    if (!event.ctrlKey && document.activeElement !== stage) return;
    event.preventDefault();
    eye.near(Math.exp(Nose.clamp(event.deltaY, -200, 200) / 500));
  }, { passive: false });
};

/** Keys on the stage. whole(): show everything. */
Nose.listenToKeys = function (stage, eye, whole) {
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  stage.addEventListener("keydown", (event) => {
    if (event.target !== stage || event.ctrlKey || event.altKey || event.metaKey) return;
    const way = ways[event.key];
    if (way && event.shiftKey) eye.shift(-40 * way[0], 40 * way[1]);
    else if (way) eye.turn(10 * way[0], 10 * way[1]);
    else if (event.key === "+" || event.key === "=") eye.near(0.8);
    else if (event.key === "-" || event.key === "_") eye.near(1.25);
    else if (event.key === "0" || event.key === "Home") whole();
    else return;
    event.preventDefault();
  });
};

/* Cutting planes, one an axis, and the hatched faces that a cut leaves.

   What a plane cuts through is found by counting: behind the plane every body that is entered is
   left again, so where more backs than fronts are seen, the plane lies inside it. */

const AXES = ["x", "y", "z"];
const HATCH_PIXELS = 9;

/** The cut face's look: the part's colour, hatched as drawings are, each body its own slant. */
function hatched(colour, slant, others) {
  const look = new THREE.MeshBasicMaterial({
    color: colour, side: THREE.DoubleSide, clippingPlanes: others,
    stencilWrite: true, stencilRef: 0, stencilFunc: THREE.NotEqualStencilFunc,
    stencilFail: THREE.ReplaceStencilOp, stencilZFail: THREE.ReplaceStencilOp,
    stencilZPass: THREE.ReplaceStencilOp,
  });
  look.onBeforeCompile = (shader) => {
    shader.fragmentShader = shader.fragmentShader.replace("#include <dithering_fragment>", `
      float lane = fract((gl_FragCoord.x ${slant} gl_FragCoord.y) / ${HATCH_PIXELS.toFixed(1)});
      gl_FragColor.rgb *= lane < 0.16 ? 0.3 : 0.88;`);
  };
  look.customProgramCacheKey = () => "hatched " + slant;
  return look;
}

function counting(side, step, plane) {
  return new THREE.MeshBasicMaterial({
    side, depthWrite: false, depthTest: false, colorWrite: false, clippingPlanes: [plane],
    stencilWrite: true, stencilFunc: THREE.AlwaysStencilFunc,
    stencilFail: step, stencilZFail: step, stencilZPass: step,
  });
}

/** All three planes of a stage. `planes` is what the parts' materials are clipped by. */
Nose.Cuts = class {
  constructor(scene, renderer, planes) {
    this.scene = scene;
    this.renderer = renderer;
    this.planes = planes;
    this.cuts = {};
    AXES.forEach((axis, index) => {
      this.cuts[axis] = {
        index, on: false, flipped: false, at: 0, plane: new THREE.Plane(), others: [], faces: null,
      };
    });
  }

  /** Set one plane: at (mm), on, flipped. */
  set(axis, change) {
    Object.assign(this.cuts[axis], change);
    for (const cut of Object.values(this.cuts)) {
      // Kept by itself: what is aft, what is on the car's right, what is below.
      const keeps = (cut.index === 2 ? -1 : 1) * (cut.flipped ? -1 : 1);
      cut.plane.normal.set(0, 0, 0).setComponent(cut.index, keeps);
      cut.plane.constant = -keeps * cut.at;
    }
    const active = Object.values(this.cuts).filter((cut) => cut.on);
    this.planes.splice(0, this.planes.length, ...active.map((cut) => cut.plane));
    for (const cut of active) {
      const others = active.filter((one) => one !== cut).map((one) => one.plane);
      cut.others.splice(0, cut.others.length, ...others);
    }
  }

  /** Whether a point (a vector, mm) has been cut away. */
  hides(point) { return this.planes.some((plane) => plane.distanceToPoint(point) < -1e-6); }

  /** Switch off whatever hides a point; tells whether anything did. */
  reveal(point) {
    const hiding = AXES.filter((axis) => {
      const cut = this.cuts[axis];
      return cut.on && cut.plane.distanceToPoint(point) < -1e-6;
    });
    hiding.forEach((axis) => this.set(axis, { on: false }));
    return hiding;
  }

  /** Leave out what is cut away whole: faces seen edge on would leave specks of it. */
  trim(parts) {
    const corner = new THREE.Vector3();
    for (const part of parts) {
      for (const body of part.bodies) {
        const { min, max } = body.mesh.geometry.boundingBox;
        const gone = this.planes.some((plane) => {
          const { x, y, z } = plane.normal;
          corner.set(x > 0 ? max.x : min.x, y > 0 ? max.y : min.y, z > 0 ? max.z : min.z);
          return plane.distanceToPoint(corner.add(part.group.position)) < 0;
        });
        body.mesh.visible = body.lines.visible = body.seen && !gone;
      }
    }
  }

  /** Bring the cut faces up to date with what is shown. parts: all, reach: mm, of the whole. */
  refresh(parts, middle, reach) {
    for (const cut of Object.values(this.cuts)) {
      if (cut.on && !cut.faces) cut.faces = this.prepare(cut, parts, reach);
      for (const face of cut.faces || []) this.place(cut, face, middle);
    }
  }

  prepare(cut, parts, reach) {
    const sheet = new THREE.PlaneGeometry(4 * reach, 4 * reach);
    const faces = [];
    parts.forEach((part, number) => part.bodies.forEach((body) => {
      if (body.ghost || !body.closed) return;
      const order = 100 + 2 * (faces.length + 1000 * cut.index);
      const backs = new THREE.Mesh(
        body.mesh.geometry, counting(THREE.BackSide, THREE.IncrementWrapStencilOp, cut.plane));
      const fronts = new THREE.Mesh(
        body.mesh.geometry, counting(THREE.FrontSide, THREE.DecrementWrapStencilOp, cut.plane));
      const cap = new THREE.Mesh(sheet, hatched(body.colour, number % 2 ? "+" : "-", cut.others));
      backs.renderOrder = fronts.renderOrder = order;
      cap.renderOrder = order + 1;
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      part.group.add(backs, fronts);
      this.scene.add(cap);
      faces.push({ part, body, backs, fronts, cap });
    }));
    return faces;
  }

  place(cut, face, middle) {
    const { part, body, backs, fronts, cap } = face;
    const box = body.mesh.geometry.boundingBox, k = "xyz"[cut.index];
    const moved = part.group.position[k];
    const meets = box.min[k] + moved < cut.at && cut.at < box.max[k] + moved;
    const shown = cut.on && meets && part.group.visible && !part.faded;
    backs.visible = fronts.visible = cap.visible = shown;
    if (!shown) return;
    cap.position.copy(middle).setComponent(cut.index, cut.at);
    cap.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), cut.plane.normal);
  }
};

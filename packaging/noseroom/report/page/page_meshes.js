/* Meshes out of the page's data: corners, shading that keeps edges sharp, ink lines. */

const CREASE = Math.cos(Math.PI / 6);
const LARGE_SCAN = 4000;

function bytesOf(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return bytes.buffer;
}

/** Corners (mm, three a vertex) and vertex numbers (three a triangle) of one body. */
function unpacked(body) {
  const ticks = new Uint16Array(bytesOf(body.corners));
  const numbers = new (body.wide ? Uint32Array : Uint16Array)(bytesOf(body.triangles));
  const points = new Float32Array(ticks.length);
  for (let i = 0; i < ticks.length; i++) points[i] = body.low[i % 3] + ticks[i] * body.step[i % 3];
  return { points, numbers };
}

function faceNormals(points, numbers) {
  const found = new Float32Array(numbers.length);
  for (let t = 0; t < numbers.length; t += 3) {
    const a = 3 * numbers[t], b = 3 * numbers[t + 1], c = 3 * numbers[t + 2];
    const ux = points[b] - points[a], uy = points[b + 1] - points[a + 1], uz = points[b + 2] - points[a + 2];
    const vx = points[c] - points[a], vy = points[c + 1] - points[a + 1], vz = points[c + 2] - points[a + 2];
    found[t] = uy * vz - uz * vy;
    found[t + 1] = uz * vx - ux * vz;
    found[t + 2] = ux * vy - uy * vx;
  }
  return found;
}

/** Where the triangles of each vertex are listed: starts (vertices + 1) and the triangles. */
function around(numbers, count) {
  const starts = new Uint32Array(count + 1);
  for (const vertex of numbers) starts[vertex + 1]++;
  for (let i = 0; i < count; i++) starts[i + 1] += starts[i];
  const next = starts.slice(), triangles = new Uint32Array(numbers.length);
  numbers.forEach((vertex, i) => { triangles[next[vertex]++] = i - i % 3; });
  return { starts, triangles };
}

/** A geometry whose corners are rounded in shading only where faces meet at less than 30°. */
Nose.geometry = function (body) {
  const { points, numbers } = unpacked(body);
  const faces = faceNormals(points, numbers);
  const size = new Float32Array(numbers.length / 3);
  for (let t = 0; t < numbers.length; t += 3) {
    size[t / 3] = Math.hypot(faces[t], faces[t + 1], faces[t + 2]) || 1;
  }
  const { starts, triangles } = around(numbers, points.length / 3);
  const position = new Float32Array(3 * numbers.length), normal = new Float32Array(3 * numbers.length);
  for (let i = 0; i < numbers.length; i++) {
    const mine = i - i % 3, vertex = numbers[i];
    let x = 0, y = 0, z = 0;
    for (let k = starts[vertex]; k < starts[vertex + 1]; k++) {
      const other = triangles[k];
      const dot = faces[mine] * faces[other] + faces[mine + 1] * faces[other + 1]
        + faces[mine + 2] * faces[other + 2];
      if (dot >= CREASE * size[mine / 3] * size[other / 3]) {
        x += faces[other]; y += faces[other + 1]; z += faces[other + 2];
      }
    }
    const length = Math.hypot(x, y, z) || 1;
    for (let k = 0; k < 3; k++) position[3 * i + k] = points[3 * vertex + k];
    normal[3 * i] = x / length;
    normal[3 * i + 1] = y / length;
    normal[3 * i + 2] = z / length;
  }
  const made = new THREE.BufferGeometry();
  made.setAttribute("position", new THREE.BufferAttribute(position, 3));
  made.setAttribute("normal", new THREE.BufferAttribute(normal, 3));
  made.computeBoundingBox();
  made.computeBoundingSphere();
  return made;
};

/** The edges that a draughtsman would ink. A scan is all small edges: only its sharp ones. */
Nose.inked = function (geometry, body) {
  const scan = !body.closed && geometry.attributes.position.count > 3 * LARGE_SCAN;
  return new THREE.EdgesGeometry(geometry, scan ? 60 : 28);
};

/** One part: a group of its bodies, to be moved, faded and hidden as one. */
Nose.buildPart = function (part, planes) {
  const group = new THREE.Group();
  const made = { name: part.name, shelf: part.shelf, placed: part.placed, outer: part.outer, group, bodies: [] };
  made.away = new THREE.Vector3().fromArray(part.away);
  for (const body of part.bodies) {
    const geometry = Nose.geometry(body), ghost = body.ghost !== "";
    const colour = body.ghost === "unseen" ? "#6d5b8c" : part.colour;
    const skin = new THREE.MeshLambertMaterial({
      color: colour,
      side: ghost || !body.closed ? THREE.DoubleSide : THREE.FrontSide,
      transparent: ghost, depthWrite: !ghost,
      clippingPlanes: planes,
      polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
    });
    const ink = new THREE.LineBasicMaterial({
      color: ghost ? colour : "#1b1e22", transparent: true, clippingPlanes: planes,
    });
    const mesh = new THREE.Mesh(geometry, skin);
    const lines = new THREE.LineSegments(Nose.inked(geometry, body), ink);
    mesh.userData.part = made;
    group.add(mesh, lines);
    const room = body.ghost === "moving";
    made.bodies.push({ mesh, lines, skin, ink, ghost, room, closed: body.closed, colour });
  }
  return made;
};

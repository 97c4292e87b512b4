"use strict";

const NO_CUT = [0, 0, 0, 1];
const IDENTITY = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1];

/** Directions from which the views look (towards the eye), and what is up in the picture. */
/** Tangent of half the angle of view, upwards. */
const LENS = Math.tan(0.3);
/** The same as the driver looks ahead: 80 degrees upwards, and more to the sides. */
const WIDE = Math.tan(0.7);
const VIEWS = {
  corner: { eye: [0.72, 0.56, 0.42], up: [0, 0, 1] },
  front: { eye: [1, 0, 0], up: [0, 0, 1] },
  rear: { eye: [-1, 0, 0], up: [0, 0, 1] },
  left: { eye: [0, 1, 0], up: [0, 0, 1] },
  right: { eye: [0, -1, 0], up: [0, 0, 1] },
  top: { eye: [0, 0, 1], up: [1, 0, 0] },
};

function multiply(a, b) {
  const out = new Array(16).fill(0);
  for (let c = 0; c < 4; c++)
    for (let r = 0; r < 4; r++)
      for (let k = 0; k < 4; k++) out[4 * c + r] += a[4 * k + r] * b[4 * c + k];
  return out;
}

function move(m, p) {
  return [0, 1, 2].map((r) => m[r] * p[0] + m[4 + r] * p[1] + m[8 + r] * p[2] + m[12 + r]);
}

/** Right-handed turn about an axis through a point, column-major. */
function turnAbout(point, axis, angle) {
  const [x, y, z] = axis, c = Math.cos(angle), s = Math.sin(angle), d = 1 - c;
  const m = [
    c + x * x * d, y * x * d + z * s, z * x * d - y * s, 0,
    x * y * d - z * s, c + y * y * d, z * y * d + x * s, 0,
    x * z * d + y * s, y * z * d - x * s, c + z * z * d, 0,
    0, 0, 0, 1,
  ];
  const shifted = move(m, point);
  for (let k = 0; k < 3; k++) m[12 + k] = point[k] - shifted[k];
  return m;
}

const NO_GL = "no WebGL2";

class Viewer {
  /** Throws when the browser has no WebGL2. */
  constructor(canvas, overlay) {
    this.canvas = canvas;
    this.overlay = overlay;
    this.gl = canvas.getContext("webgl2", { antialias: false, alpha: false });
    if (!this.gl) throw new Error(NO_GL);
    this.bodies = [];
    this.buffers = new Map();
    this.lines = [];
    this.motions = new Map();
    this.shows = () => true;
    this.mark = () => 0;
    this.colour = (body) => body.colour;
    this.band = () => 0;
    this.paint = () => {};
    this.coming = () => false;
    this.dim = false;
    this.parallel = false;
    this.cut = null;
    this.camera = { target: [0, 0, 0], eye: unit(VIEWS.corner.eye), up: [0, 0, 1], reach: 3000, lens: LENS };
    canvas.addEventListener("webglcontextlost", (e) => {
      e.preventDefault();
      this.lost = true;
    });
    canvas.addEventListener("webglcontextrestored", () => {
      this.lost = false;
      this.start();
      const bodies = this.bodies;
      this.buffers.clear();
      this.setBodies(bodies);
      this.setLines(this.lineData);
      this.ask();
    });
    this.start();
    this.measure();
    new ResizeObserver(() => {
      this.measure();
      this.ask();
    }).observe(canvas);
    this.listen();
  }

  start() {
    const gl = this.gl;
    this.programs = new Map();
    this.sheets = new Sheets(gl);
    this.pace = new Pace(gl);
    this.drawing = false;
    this.solid({});
    this.wire = programOf(gl, LINE_VERTEX, LINE_FRAGMENT);
    gl.enable(gl.DEPTH_TEST);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
  }

  /** Size of the picture in CSS pixels: kept, as asking for it lays out the whole page. */
  measure() {
    this.size = { wide: this.canvas.clientWidth, high: this.canvas.clientHeight };
  }

  /** The program for bodies that are cut open or not, marked or not. */
  solid(kind) {
    const name = `${!!kind.cut} ${!!kind.marked}`;
    if (!this.programs.has(name))
      this.programs.set(name, programOf(this.gl, bodyVertex(kind), bodyFragment(kind)));
    return this.programs.get(name);
  }

  /** Take over bodies; those whose `key` is known keep what is on the graphics card. `shared`: see `unpack`. */
  setBodies(bodies, shared = []) {
    const gl = this.gl, kept = new Map(), lists = shared.map(bytes);
    for (const body of bodies) {
      const known = this.buffers.get(body.key);
      body.mesh = body.mesh || (known && known.mesh) || unpack(body.packed, lists);
      kept.set(body.key, known || this.upload(body.mesh));
    }
    for (const [key, old] of this.buffers)
      if (!kept.has(key)) {
        gl.deleteVertexArray(old.array);
        old.all.forEach((b) => gl.deleteBuffer(b));
      }
    this.buffers = kept;
    this.bodies = bodies;
  }

  upload(mesh) {
    const gl = this.gl, array = gl.createVertexArray();
    const [points, normals, triangles] = [0, 1, 2].map(() => gl.createBuffer());
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, points);
    gl.bufferData(gl.ARRAY_BUFFER, mesh.bent || mesh.points, gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 0, 0);
    gl.bindBuffer(gl.ARRAY_BUFFER, normals);
    gl.bufferData(gl.ARRAY_BUFFER, mesh.normals, gl.STATIC_DRAW);
    gl.enableVertexAttribArray(1);
    gl.vertexAttribPointer(1, 3, gl.BYTE, true, 0, 0);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, triangles);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, mesh.triangles, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    return { mesh, array, all: [points, normals, triangles] };
  }

  /** Edges of the car: lists of points. */
  setLines(lines) {
    const gl = this.gl, ends = [];
    this.lineData = lines;
    for (const points of lines)
      for (let i = 0; i + 1 < points.length; i++) ends.push(...points[i], ...points[i + 1]);
    if (this.wires) gl.deleteBuffer(this.wires.buffer), gl.deleteVertexArray(this.wires.array);
    const array = gl.createVertexArray(), buffer = gl.createBuffer();
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array(ends), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 0, 0);
    gl.bindVertexArray(null);
    this.wires = { array, buffer, count: ends.length / 3 };
  }

  /** Bodies drawn with their vertices shifted: by id a line and how its points shift, mm. Tells whether there are any new. */
  bend(how, times) {
    const gl = this.gl;
    let bent = false;
    for (const { id, key, mesh } of this.bodies) {
      const way = times ? how.get(id) : null;
      if (!way && !mesh.bent) continue;
      const shifts = way && shiftsOf(mesh, way);
      mesh.bent = way ? mesh.points.map((x, i) => x + times * shifts[i]) : null;
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.get(key).all[0]);
      gl.bufferSubData(gl.ARRAY_BUFFER, 0, mesh.bent || mesh.points);
      bent = true;
    }
    return bent;
  }

  motion(body) {
    return this.motions.get(body.id) || IDENTITY;
  }

  // --- camera -----------------------------------------------------------------------------

  axes() {
    const { eye, up } = this.camera;
    const right = unit(cross(up, eye));
    return { right, up: cross(eye, right), eye };
  }

  matrix() {
    const { target, reach, lens } = this.camera, { right, up, eye } = this.axes();
    const ratio = this.canvas.width / this.canvas.height;
    const half = (reach / 2) * Math.max(1, 1 / ratio);
    const far = 40000;
    const away = this.parallel ? far / 2 : half / lens;
    const from = add(target, scale(eye, away));
    const look = [];
    for (let k = 0; k < 3; k++) look.push(right[k], up[k], eye[k], 0);
    look.push(-dot(right, from), -dot(up, from), -dot(eye, from), 1);
    const near = this.parallel ? 0 : Math.max(away / 50, 5);
    const onto = this.parallel
      ? [1 / (half * ratio), 0, 0, 0, 0, 1 / half, 0, 0, 0, 0, -2 / far, 0, 0, 0, -1, 1]
      : [
          1 / (lens * ratio), 0, 0, 0, 0, 1 / lens, 0, 0,
          0, 0, -(far + near) / (far - near), -1, 0, 0, (-2 * far * near) / (far - near), 0,
        ];
    return { view: multiply(onto, look), from, half, ratio, right, up, eye };
  }

  /** Pixels (CSS) of a point, or null behind the eye. */
  project(p) {
    const m = this.matrix().view;
    const w = m[3] * p[0] + m[7] * p[1] + m[11] * p[2] + m[15];
    if (w <= 0) return null;
    const [x, y] = move(m, p);
    const { wide, high } = this.size;
    return [((x / w + 1) / 2) * wide, ((1 - y / w) / 2) * high];
  }

  orbit(dx, dy) {
    const camera = this.camera;
    let { eye, up } = camera;
    const around = turnAbout([0, 0, 0], [0, 0, 1], -dx);
    eye = move(around, eye);
    up = move(around, up);
    const right = unit(cross(up, eye));
    const tilted = move(turnAbout([0, 0, 0], right, -dy), eye);
    if (Math.abs(tilted[2]) < 0.9995) {
      eye = unit(tilted);
      up = [0, 0, 1];
    }
    Object.assign(camera, { eye, up });
    this.ask();
  }

  pan(dx, dy) {
    const { right, up, half } = this.matrix();
    const step = (2 * half) / this.size.high;
    const shift = add(scale(right, -dx * step), scale(up, dy * step));
    this.camera.target = add(this.camera.target, shift);
    this.ask();
  }

  /** Zoom about a spot of the picture (CSS pixels), the middle when left out. */
  zoom(factor, x, y) {
    const reach = clamp(this.camera.reach * factor, 40, 20000);
    if (x !== undefined) {
      const { right, up, half } = this.matrix();
      const step = ((2 * half) / this.size.high) * (1 - reach / this.camera.reach);
      const dx = x - this.size.wide / 2, dy = this.size.high / 2 - y;
      const shift = add(scale(right, dx * step), scale(up, dy * step));
      this.camera.target = add(this.camera.target, shift);
    }
    this.camera.reach = reach;
    this.ask();
  }

  look(name) {
    const view = VIEWS[name];
    const way = { eye: unit(view.eye), up: view.up, lens: LENS };
    this.fly({ ...this.camera, ...way, ...this.around(this.shown(), this.beside(), way) });
  }

  shown() {
    return this.bodies.filter((b) => this.shows(b) && b.group !== "car");
  }

  /** Target and reach that hold bodies and points in the middle of the picture, seen from the direction `eye`. */
  around(bodies, points = [], { eye, up, lens } = this.camera) {
    const spots = [...points];
    for (const { mesh: { points: flat } } of bodies)
      for (let i = 0; i < flat.length; i += 3) spots.push([flat[i], flat[i + 1], flat[i + 2]]);
    if (!spots.length) return { target: this.camera.target, reach: this.camera.reach };
    const right = unit(cross(up, eye)), above = cross(eye, right);
    const ratio = this.size.wide / Math.max(this.size.high, 1) || 1;
    // a nearer spot looks larger; a tenth is for the words at the edge
    const nearer = this.parallel ? 0 : lens;
    const seen = spots.map((p) => [dot(p, right), dot(p, above), dot(p, eye)]);
    const span = (k, of = (s) => s[k]) => {
      let low = Infinity, high = -Infinity;
      for (const s of seen) (low = Math.min(low, of(s))), (high = Math.max(high, of(s)));
      return [low, high];
    };
    const middle = [0, 1, 2].map((k) => (span(k)[0] + span(k)[1]) / 2);
    let half = 0;
    // what is nearer counts more to its side: the middle of the picture is found in a few steps
    for (let n = 0; n < 4; n++) {
      half = span(0, ([x, y, z]) => 1.1 * Math.max(Math.abs(x - middle[0]) / ratio, Math.abs(y - middle[1])) + nearer * (z - middle[2]))[1];
      const away = nearer && half ? half / nearer : Infinity; // a spot alone is in the middle already
      for (const k of [0, 1]) {
        const [low, high] = span(k, (s) => (s[k] - middle[k]) / (nearer ? 1 - (s[2] - middle[2]) / away : 1));
        middle[k] += (low + high) / 2;
      }
    }
    const target = add(add(scale(right, middle[0]), scale(above, middle[1])), scale(eye, middle[2]));
    return { target, reach: Math.max(2 * half * Math.min(ratio, 1), 300) };
  }

  /** Stop where the camera is. */
  land() {
    cancelAnimationFrame(this.flight);
    this.flight = 0;
  }

  fly(goal) {
    this.land();
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const from = { ...this.camera }, begin = performance.now();
    const step = (now) => {
      const t = still ? 1 : clamp((now - begin) / 280, 0, 1), e = t * t * (3 - 2 * t);
      this.camera = {
        target: mix(from.target, goal.target, e),
        eye: unit(mix(from.eye, goal.eye, e)),
        up: t < 1 && Math.abs(dot(goal.up, from.eye)) > 0.9 ? from.up : goal.up,
        reach: from.reach + (goal.reach - from.reach) * e,
        lens: from.lens + (goal.lens - from.lens) * e,
      };
      if (Math.abs(dot(this.camera.up, this.camera.eye)) > 0.999)
        this.camera.up = goal.up;
      this.ask();
      this.flight = t < 1 ? requestAnimationFrame(step) : 0;
    };
    if (still) step(begin);
    else this.flight = requestAnimationFrame(step);
  }

  // --- drawing ----------------------------------------------------------------------------

  /** Draw with the next frame, or when the picture that is being drawn is there. */
  ask() {
    clearTimeout(this.waiting);
    this.waiting = 0;
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.now();
    });
  }

  /** Draw now, unless a picture is being drawn: then after it. */
  now() {
    this.again = this.drawing;
    if (!this.drawing) this.draw();
  }

  /** Draw sharp when nothing has moved for a while: for what hardly shows before. */
  askSharp() {
    this.stale = this.drawing;
    if (this.asked || this.drawing) return;
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.draw(this.pace.resting()), this.pace.rest(this.coming()));
  }

  /** The words over the picture alone. */
  askWords() {
    this.worded ||= requestAnimationFrame(() => this.words());
  }

  /** Whether the sharp picture is there and nothing moves. */
  get still() {
    return !(this.asked || this.drawing || this.waiting || this.flight);
  }

  /** Draw; `way` as in WAYS. Nothing else is drawn until it is there, and then the sharp one. */
  draw(way = this.pace.moving()) {
    const { canvas, size: { wide, high } } = this;
    cancelAnimationFrame(this.asked);
    clearTimeout(this.waiting);
    this.asked = this.waiting = 0;
    this.stale = false;
    if (this.lost || !wide) return;
    const ratio = this.ratio();
    for (const c of [canvas, this.overlay]) {
      const w = Math.round(wide * ratio), h = Math.round(high * ratio);
      if (c.width !== w || c.height !== h) (c.width = w), (c.height = h);
    }
    const begun = performance.now(), pace = this.pace;
    this.paintBodies(this.sheets.begin(way));
    this.sheets.end();
    this.gl.flush(); // it is drawn while the words are
    this.words();
    this.drawing = true;
    pace.whenDone(way, () => {
      if (pace !== this.pace) return;
      this.drawing = false;
      pace.note(way, performance.now() - begun);
      if (this.again) return this.now();
      if (way !== pace.resting() || this.stale) this.askSharp();
    });
  }

  ratio() {
    return Math.min(window.devicePixelRatio || 1, 2);
  }

  words() {
    cancelAnimationFrame(this.worded);
    this.worded = 0;
    const pen = this.overlay.getContext("2d"), ratio = this.ratio();
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, this.size.wide, this.size.high);
    this.paint(pen);
  }

  paintBodies([wide]) {
    const gl = this.gl, camera = this.matrix(), grain = wide / this.size.wide;
    gl.clearColor(0.955, 0.962, 0.97, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    // bodies are closed: their insides are seen where a plane cuts them open, else nowhere
    if (this.cut) gl.disable(gl.CULL_FACE);
    else gl.enable(gl.CULL_FACE);
    const seen = this.bodies.filter((b) => this.shows(b));
    gl.disable(gl.BLEND);
    this.paintThose(seen.filter((b) => !b.ghost), camera, grain);
    if (this.wires && this.showLines) {
      gl.useProgram(this.wire.made);
      gl.uniformMatrix4fv(this.wire.at.uView, false, camera.view);
      gl.uniform4fv(this.wire.at.uCut, this.cut || NO_CUT);
      gl.uniform4fv(this.wire.at.uColour, [0.42, 0.47, 0.54, 1]);
      gl.bindVertexArray(this.wires.array);
      gl.drawArrays(gl.LINES, 0, this.wires.count);
    }
    gl.enable(gl.BLEND);
    gl.depthMask(false);
    this.paintThose(seen.filter((b) => b.ghost), camera, grain);
    gl.depthMask(true);
    gl.bindVertexArray(null);
  }

  /** From front to back, so that little is lit and then hidden; those with patterns last. */
  paintThose(bodies, camera, grain) {
    const gl = this.gl, cut = !!this.cut, rows = [];
    for (const body of bodies) {
      const { low, high } = body.mesh, middle = move(this.motion(body), scale(add(low, high), 0.5));
      const mark = this.mark(body), band = this.band(body);
      rows.push({ body, mark, band, marked: mark + band > 0, near: dot(middle, camera.eye) });
    }
    // what is seen through lies on what is behind it
    rows.sort((a, b) => a.body.ghost ? a.near - b.near : a.marked - b.marked || b.near - a.near);
    let at = null, last = null;
    for (const { body, mark, band, marked } of rows) {
      if (marked !== last) {
        last = marked;
        const program = this.solid({ cut, marked });
        at = program.at;
        gl.useProgram(program.made);
        gl.uniformMatrix4fv(at.uView, false, camera.view);
        gl.uniform3fv(at.uEye, camera.eye);
        if (cut) gl.uniform4fv(at.uCut, this.cut);
        if (marked) gl.uniform1f(at.uGrain, grain);
      }
      if (marked) gl.uniform1i(at.uMark, mark), gl.uniform1i(at.uBand, band);
      this.body(body, at);
    }
  }

  body(body, at) {
    const gl = this.gl, known = this.buffers.get(body.key);
    gl.uniformMatrix4fv(at.uModel, false, this.motion(body));
    gl.uniform4f(at.uColour, ...this.shade(this.colour(body)), body.ghost ? 0.3 : 1);
    gl.bindVertexArray(known.array);
    const wide = known.mesh.triangles instanceof Uint32Array;
    const kind = wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT;
    gl.drawElements(gl.TRIANGLES, known.mesh.triangles.length, kind, 0);
  }

  /** A colour as it is, or greyed. */
  shade(colour) {
    if (!this.dim) return colour;
    const grey = 0.33 * (colour[0] + colour[1] + colour[2]);
    return [0, 1, 2].map(() => 0.55 * grey + 0.45 * 0.82);
  }

  // --- picking ----------------------------------------------------------------------------

  ray(x, y) {
    const m = this.matrix();
    const u = (x / this.size.wide) * 2 - 1, v = 1 - (y / this.size.high) * 2;
    const spot = add(
      this.camera.target,
      add(scale(m.right, u * m.half * m.ratio), scale(m.up, v * m.half)),
    );
    if (this.parallel) return { from: add(spot, scale(m.eye, 20000)), along: scale(m.eye, -1) };
    return { from: m.from, along: unit(sub(spot, m.from)) };
  }

  /** The body below a spot (CSS pixels of the canvas) with the point that was hit, or null. */
  pick(x, y) {
    const { from, along } = this.ray(x, y);
    let best = null;
    for (const body of this.bodies) {
      if (!this.shows(body) || body.ghost) continue;
      const m = this.motion(body);
      // the inverse of a rigid motion: the turn's transpose
      const back = (v) => [0, 1, 2].map((c) => m[4 * c] * v[0] + m[4 * c + 1] * v[1] + m[4 * c + 2] * v[2]);
      const start = back(sub(from, m.slice(12, 15))), way = back(along);
      if (!body.mesh.bent && !meetsBox(start, way, body.mesh)) continue;
      const t = this.meet(body, start, way, best ? best.t : Infinity);
      if (t !== null) best = { t, body, point: add(from, scale(along, t)) };
    }
    return best;
  }

  meet(body, from, along, limit) {
    const { triangles } = body.mesh, m = this.motion(body), points = body.mesh.bent || body.mesh.points;
    let best = null;
    for (let i = 0; i < triangles.length; i += 3) {
      const a = 3 * triangles[i], b = 3 * triangles[i + 1], c = 3 * triangles[i + 2];
      const e1x = points[b] - points[a], e1y = points[b + 1] - points[a + 1], e1z = points[b + 2] - points[a + 2];
      const e2x = points[c] - points[a], e2y = points[c + 1] - points[a + 1], e2z = points[c + 2] - points[a + 2];
      const px = along[1] * e2z - along[2] * e2y, py = along[2] * e2x - along[0] * e2z, pz = along[0] * e2y - along[1] * e2x;
      const det = e1x * px + e1y * py + e1z * pz;
      if (Math.abs(det) < 1e-12) continue;
      const sx = from[0] - points[a], sy = from[1] - points[a + 1], sz = from[2] - points[a + 2];
      const u = (sx * px + sy * py + sz * pz) / det;
      if (u < 0 || u > 1) continue;
      const qx = sy * e1z - sz * e1y, qy = sz * e1x - sx * e1z, qz = sx * e1y - sy * e1x;
      const v = (along[0] * qx + along[1] * qy + along[2] * qz) / det;
      if (v < 0 || u + v > 1) continue;
      const t = (e2x * qx + e2y * qy + e2z * qz) / det;
      if (t <= 0 || t >= limit) continue;
      if (this.cut) {
        const p = move(m, add(from, scale(along, t)));
        if (dot(this.cut, p) > this.cut[3]) continue;
      }
      limit = best = t;
    }
    return best;
  }

  // --- mouse, touch -----------------------------------------------------------------------

  listen() {
    const canvas = this.canvas, held = new Map();
    let moved = 0, spread = 0;
    const at = (e) => [e.offsetX, e.offsetY];
    const span = () => {
      const [a, b] = [...held.values()];
      return Math.hypot(a[0] - b[0], a[1] - b[1]);
    };
    canvas.addEventListener("pointerdown", (e) => {
      canvas.focus({ preventScroll: true });
      canvas.setPointerCapture(e.pointerId);
      held.set(e.pointerId, at(e));
      this.land();
      if (held.size === 1) moved = 0;
      if (held.size === 2) spread = span();
    });
    canvas.addEventListener("pointermove", (e) => {
      const last = held.get(e.pointerId);
      if (!last) return;
      const [x, y] = at(e), dx = x - last[0], dy = y - last[1];
      held.set(e.pointerId, [x, y]);
      moved += Math.abs(dx) + Math.abs(dy);
      if (held.size === 2) {
        const now = span();
        this.pan(dx / 2, dy / 2);
        if (now > 5 && spread > 5) this.zoom(spread / now);
        spread = now;
      } else if (e.shiftKey || e.buttons & 6) this.pan(dx, dy);
      else this.orbit(dx * 0.008, dy * 0.008);
    });
    const release = (e) => {
      const was = held.delete(e.pointerId);
      if (e.type === "pointerup" && was && !held.size && moved < 6 && e.button === 0) {
        const [x, y] = at(e);
        this.clicked(this.pick(x, y));
      }
    };
    canvas.addEventListener("pointerup", release);
    canvas.addEventListener("pointercancel", release);
    canvas.addEventListener("contextmenu", (e) => e.preventDefault());
    canvas.addEventListener(
      "wheel",
      (e) => {
        e.preventDefault();
        const lines = e.deltaMode === 1 ? 30 : 1;
        this.zoom(Math.exp(clamp(e.deltaY * lines, -400, 400) * 0.0012), e.offsetX, e.offsetY);
      },
      { passive: false },
    );
  }

  clicked() {}

  /** Points that a view of everything holds beside the bodies. */
  beside() {
    return [];
  }
}

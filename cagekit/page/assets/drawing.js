"use strict";

// How the picture is drawn: its shaders, the sheets it is drawn on, and how sharp it may be here.

/** What no plane cuts open needs no `discard`: then what lies behind is left out before it is lit. */
const bodyVertex = ({ cut }) => `#version 300 es
in vec3 aPoint; in vec3 aNormal;
uniform mat4 uView; uniform mat4 uModel;
out vec3 vNormal;
${cut ? "out vec3 vPoint;" : ""}
void main() {
  vec4 p = uModel * vec4(aPoint, 1.0);
  ${cut ? "vPoint = p.xyz;" : ""}
  vNormal = mat3(uModel) * aNormal;
  gl_Position = uView * p;
}`;
// Marks are patterns as well as colours: stripes for what is picked, a chequer for what is measured.
const PATTERNS = `
  float x = gl_FragCoord.x / uGrain, y = gl_FragCoord.y / uGrain;
  if (uBand == 1 && mod(x, 6.0) < 3.0 && mod(y, 6.0) < 3.0) base = mix(base, vec3(1.0), 0.6);
  if (uBand == 2 && mod(x - y, 14.0) < 5.0) base = mix(base, vec3(1.0), 0.5);
  if (uBand == 4 && mod(x + y, 10.0) < 3.0) base *= 0.4;
  if (uBand == 5 && (mod(x, 8.0) < 2.5 || mod(y, 8.0) < 2.5)) base *= 0.25;
  if (uMark == 1) base = mod(x + y, 12.0) < 6.0 ? vec3(1.0, 0.95, 0.35) : vec3(0.08, 0.09, 0.12);
  if (uMark == 2) base = mod(floor(x / 5.0) + floor(y / 5.0), 2.0) < 1.0 ? vec3(1.0) : vec3(0.0, 0.35, 0.75);`;
const bodyFragment = ({ cut, marked }) => `#version 300 es
precision highp float;
in vec3 vNormal;
uniform vec4 uColour; uniform vec3 uEye;
${cut ? "in vec3 vPoint; uniform vec4 uCut;" : ""}
${marked ? "uniform float uGrain; uniform int uMark; uniform int uBand;" : ""}
out vec4 colour;
void main() {
  ${cut ? "if (dot(uCut.xyz, vPoint) > uCut.w) discard;" : ""}
  vec3 n = normalize(vNormal), base = uColour.rgb;
  ${marked ? PATTERNS : ""}
  if (!gl_FrontFacing) { n = -n; base *= 0.55; }
  float head = max(dot(n, uEye), 0.0), sky = 0.5 + 0.5 * n.z, side = 1.0 - head;
  float h2 = head * head, h4 = h2 * h2, h8 = h4 * h4;
  vec3 lit = base * (0.30 + 0.55 * head + 0.22 * sky) + 0.12 * h8 * h8 * h8 - 0.10 * side * side * side;
  colour = vec4(lit, uColour.a);
}`;
const LINE_VERTEX = `#version 300 es
in vec3 aPoint; uniform mat4 uView; out vec3 vPoint;
void main() { vPoint = aPoint; gl_Position = uView * vec4(aPoint, 1.0); }`;
const LINE_FRAGMENT = `#version 300 es
precision highp float;
in vec3 vPoint; uniform vec4 uColour; uniform vec4 uCut; out vec4 colour;
void main() { if (dot(uCut.xyz, vPoint) > uCut.w) discard; colour = uColour; }`;

function programOf(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.bindAttribLocation(made, 0, "aPoint");
  gl.bindAttribLocation(made, 1, "aNormal");
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost())
    throw new Error(gl.getProgramInfoLog(made) || "the shaders do not link");
  const at = {};
  const count = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS) || 0;
  for (let i = 0; i < count; i++) {
    const { name } = gl.getActiveUniform(made, i);
    at[name] = gl.getUniformLocation(made, name);
  }
  return { made, at };
}

/** Ways to draw: with smooth edges, plain, and half as fine, drawn out to the same size. */
const WAYS = [{ samples: 4, share: 1 }, { samples: 0, share: 1 }, { samples: 0, share: 0.5 }];
const [FINE, PLAIN] = [0, 1];

/** What a picture is drawn on before it goes to the canvas. */
class Sheets {
  constructor(gl) {
    this.gl = gl;
    this.made = new Map();
  }

  /** Begin a picture, its way as in WAYS; returns its width and height. */
  begin(way) {
    const gl = this.gl, { share } = WAYS[way], { width, height } = gl.canvas;
    const [wide, high] = [width, height].map((n) => Math.max(1, Math.round(share * n)));
    this.way = way;
    this.at = way === PLAIN ? null : this.sheet(way, wide, high, WAYS[way].samples);
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.at ? this.at.frame : null);
    gl.viewport(0, 0, wide, high);
    return [wide, high];
  }

  /** Bring the picture to the canvas. */
  end() {
    if (!this.at) return;
    // samples may go to a sheet of the very same kind only, which a canvas need not be
    const { width, height, samples } = this.at;
    const flat = samples ? this.sheet("flat", width, height, 0) : this.at;
    if (samples) this.copy(this.at, flat.frame, width, height);
    this.copy(flat, null, this.gl.canvas.width, this.gl.canvas.height);
    this.gl.bindFramebuffer(this.gl.FRAMEBUFFER, null);
  }

  copy(from, to, width, height) {
    const gl = this.gl;
    gl.bindFramebuffer(gl.READ_FRAMEBUFFER, from.frame);
    gl.bindFramebuffer(gl.DRAW_FRAMEBUFFER, to);
    const filter = from.width === width && from.height === height ? gl.NEAREST : gl.LINEAR;
    gl.blitFramebuffer(0, 0, from.width, from.height, 0, 0, width, height, gl.COLOR_BUFFER_BIT, filter);
  }

  sheet(name, width, height, samples) {
    const gl = this.gl, old = this.made.get(name);
    if (old && old.width === width && old.height === height) return old;
    if (old) old.parts.forEach((p) => gl.deleteRenderbuffer(p)), gl.deleteFramebuffer(old.frame);
    const frame = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    const part = (format, spot) => {
      const buffer = gl.createRenderbuffer();
      gl.bindRenderbuffer(gl.RENDERBUFFER, buffer);
      gl.renderbufferStorageMultisample(gl.RENDERBUFFER, samples, format, width, height);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, spot, gl.RENDERBUFFER, buffer);
      return buffer;
    };
    const parts = [part(gl.RGBA8, gl.COLOR_ATTACHMENT0), part(gl.DEPTH_COMPONENT24, gl.DEPTH_ATTACHMENT)];
    const made = { frame, parts, width, height, samples };
    this.made.set(name, made);
    return made;
  }
}

/** What a picture may take (ms) while something moves. */
const SMOOTH = 33;
/** A way that takes up to so many times the quickest is taken where it is sharper. */
const WORTH = 1.3;
/** The sharp picture comes when nothing has moved for so long (ms), or so many times what it takes. */
const REST = 150, PATIENT = 2;
/** It waits for bodies that are known to come so much longer (ms): they would have it drawn again. */
const COMING = 1000;
/** ms between two looks whether a picture is there. */
const LOOK = 6;
/** Smooth edges that take longer than this (ms) are left out. */
const TOO_LONG = 600;

/** How sharp a picture may be: by what pictures took here, whoever draws them. */
class Pace {
  constructor(gl) {
    this.gl = gl;
    this.took = [];
  }

  /** The sharpest way that is quick, else the quickest; smooth edges are tried at rest first. */
  moving() {
    const took = WAYS.map((_, way) => this.took[way] ?? (way === FINE ? Infinity : 0));
    return took.findIndex((t) => t <= Math.max(SMOOTH, WORTH * Math.min(...took)));
  }

  /** How it is drawn when it rests. */
  resting() {
    return (this.took[FINE] ?? 0) > TOO_LONG ? PLAIN : FINE;
  }

  /** ms without a change until it rests; with `coming` more is known to come. Sharper ways are tried again after a while. */
  rest(coming) {
    return Math.max(REST, PATIENT * (this.took[this.resting()] ?? 0)) + (coming ? COMING : 0);
  }

  note(way, ms) {
    const known = this.took[way] ?? ms;
    this.took[way] = ms < known ? ms : (known + ms) / 2;
    // what was slow when the machine had other work is tried again after some pictures at rest
    if (way === this.resting()) this.took = this.took.map((t, i) => (i === way ? t : 0.8 * t));
  }

  /** Call back when what was drawn until now is there; who draws is not disturbed before it may be. */
  whenDone(way, call) {
    const gl = this.gl, fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    const look = () => {
      const open = fence && !gl.isContextLost() && gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED;
      if (open) return setTimeout(look, LOOK);
      if (fence) gl.deleteSync(fence);
      call();
    };
    setTimeout(look, 0.7 * (this.took[way] ?? 0));
  }
}

/** Base64 to bytes; browsers of some years ago lack the quick way. */
function bytes(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out;
}

/**
 * A mesh as the page's data hold it: points in steps of a box, normals and triangles.
 * Triangles that many bodies have are a number, which counts `lists` of bytes.
 */
function unpack(packed, lists = []) {
  const steps = new Uint16Array(bytes(packed.points).buffer);
  const points = new Float32Array(steps.length);
  const { low, high } = packed;
  for (let k = 0; k < 3; k++) {
    const step = (high[k] - low[k]) / 65535;
    for (let i = k; i < steps.length; i += 3) points[i] = low[k] + step * steps[i];
  }
  const raw = (lists[packed.triangles] ?? bytes(packed.triangles)).buffer;
  return {
    points,
    normals: new Int8Array(bytes(packed.normals).buffer),
    triangles: packed.wide ? new Uint32Array(raw) : new Uint16Array(raw),
    low,
    high,
  };
}

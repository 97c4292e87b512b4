"use strict";
// Points are arrays of three numbers in car axes, mm.

const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const scale = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
const size = (a) => Math.sqrt(dot(a, a));
const unit = (a) => scale(a, 1 / (size(a) || 1));
const mix = (a, b, t) => [
  a[0] + (b[0] - a[0]) * t,
  a[1] + (b[1] - a[1]) * t,
  a[2] + (b[2] - a[2]) * t,
];
const clamp = (x, low, high) => Math.min(Math.max(x, low), high);

/** Nearest points of two segments: minimise the quadratic in both parameters, clamp in turn. */
function segmentSegment(p, q, r, s) {
  const u = sub(q, p), v = sub(s, r), w = sub(p, r);
  const a = dot(u, u), b = dot(u, v), c = dot(v, v), d = dot(u, w), e = dot(v, w);
  const det = a * c - b * b;
  let t = det > 1e-12 * a * c ? clamp((b * e - c * d) / det, 0, 1) : 0;
  let k = c > 0 ? (b * t + e) / c : 0;
  if (k < 0 || k > 1) {
    k = clamp(k, 0, 1);
    t = a > 0 ? clamp((b * k - d) / a, 0, 1) : 0;
  }
  const one = mix(p, q, t), two = mix(r, s, k);
  return { gap: size(sub(one, two)), one, two, t, k };
}

/** Nearest point of a triangle to a point. */
function pointTriangle(p, tri) {
  const [a, b, c] = tri;
  const n = cross(sub(b, a), sub(c, a)), nn = dot(n, n);
  if (nn > 0) {
    const foot = sub(p, scale(n, dot(sub(p, a), n) / nn));
    const inside = [[a, b], [b, c], [c, a]].every(
      ([x, y]) => dot(cross(sub(y, x), sub(foot, x)), n) >= 0,
    );
    if (inside) return { gap: size(sub(p, foot)), one: p, two: foot, t: 0 };
  }
  return [[a, b], [b, c], [c, a]]
    .map(([x, y]) => ({ ...segmentSegment(p, p, x, y), one: p, t: 0 }))
    .reduce((m, x) => (x.gap < m.gap ? x : m));
}

/** Nearest points of a segment and a triangle; no gap where one runs through the other. */
function segmentTriangle(p, q, tri) {
  const [a, b, c] = tri;
  const n = cross(sub(b, a), sub(c, a)), hp = dot(sub(p, a), n), hq = dot(sub(q, a), n);
  if (hp * hq < 0) {
    const t = hp / (hp - hq), x = mix(p, q, t);
    const within = [[a, b], [b, c], [c, a]].every(
      ([f, g]) => dot(cross(sub(g, f), sub(x, f)), n) >= 0,
    );
    if (within) return { gap: 0, one: x, two: x, t };
  }
  const tries = [
    pointTriangle(p, tri),
    { ...pointTriangle(q, tri), t: 1 },
    ...[[a, b], [b, c], [c, a]].map(([f, g]) => segmentSegment(p, q, f, g)),
  ];
  return tries.reduce((m, x) => (x.gap < m.gap ? x : m));
}

function triangleTriangle(s, t) {
  let best = { gap: Infinity };
  for (let i = 0; i < 3; i++) {
    const ahead = segmentTriangle(s[i], s[(i + 1) % 3], t);
    if (ahead.gap < best.gap) best = ahead;
    const back = segmentTriangle(t[i], t[(i + 1) % 3], s);
    if (back.gap < best.gap) best = { gap: back.gap, one: back.two, two: back.one };
  }
  return best;
}

/** Length of the pieces that are looked through (mm), and how many are not halved any more. */
const PIECE = 80, FEW = 4;
/** Gaps that differ by less (mm) are alike: parallel tubes are as near here as there. */
const ALIKE = 1e-3;

/** Primitives with the ball round each: pieces of a centre line, or triangles of a mesh. */
function balls(parts) {
  return parts.map((points) => {
    const middle = scale(points.reduce(add), 1 / points.length);
    const reach = Math.max(...points.map((p) => size(sub(p, middle))));
    return { points, middle, reach };
  });
}

/** A triangle in pieces that are small enough for a ball to tell where they are. */
function split(tri) {
  const long = tri.map((p, i) => size(sub(tri[(i + 1) % 3], p)));
  const i = long.indexOf(Math.max(...long));
  if (long[i] <= 2 * PIECE) return [tri];
  const [a, b, c] = [tri[i], tri[(i + 1) % 3], tri[(i + 2) % 3]], middle = mix(a, b, 0.5);
  return [...split([a, middle, c]), ...split([middle, b, c])];
}

const facets = (body) => tree(balls(body.triangles()));

/** What of a tube's mesh lies beside its cut ends; the rest is round. */
function endFacets(body) {
  const tips = [body.axis[0], body.axis.at(-1)];
  const near = (part) => tips.some((p, i) => size(sub(part.middle, p)) - part.reach < body.cuts[i] + body.radius);
  return tree(balls(body.triangles().flatMap(split)).filter(near));
}

function axisPieces(axis) {
  const out = [];
  for (let i = 0; i + 1 < axis.length; i++) {
    const n = Math.max(1, Math.ceil(size(sub(axis[i + 1], axis[i])) / PIECE));
    for (let k = 0; k < n; k++)
      out.push([mix(axis[i], axis[i + 1], k / n), mix(axis[i], axis[i + 1], (k + 1) / n)]);
  }
  return tree(balls(out));
}

/** Primitives in halves of halves, each half with a ball round it. */
function tree(parts) {
  const low = [0, 1, 2].map((k) => Math.min(...parts.map((p) => p.middle[k])));
  const high = [0, 1, 2].map((k) => Math.max(...parts.map((p) => p.middle[k])));
  const middle = mix(low, high, 0.5);
  const reach = Math.max(...parts.map((p) => size(sub(p.middle, middle)) + p.reach));
  if (parts.length <= FEW) return { middle, reach, parts };
  const wide = sub(high, low), k = wide.indexOf(Math.max(...wide));
  const sorted = [...parts].sort((a, b) => a.middle[k] - b.middle[k]), half = sorted.length >> 1;
  return { middle, reach, halves: [tree(sorted.slice(0, half)), tree(sorted.slice(half))] };
}

/** How far two primitives lie apart as seen along a direction: they are nowhere nearer. */
function apart(one, two, [x, y, z]) {
  let far = -Infinity, near = Infinity;
  for (const p of one.points) far = Math.max(far, p[0] * x + p[1] * y + p[2] * z);
  for (const p of two.points) near = Math.min(near, p[0] * x + p[1] * y + p[2] * z);
  return (near - far) / (Math.sqrt(x * x + y * y + z * z) || 1);
}

/** The nearest pair of two trees: what cannot beat the best so far is not opened. */
function nearest(one, two, measure) {
  let best = { gap: Infinity }, way = [1, 0, 0];
  const low = (a, b) => size(sub(a.middle, b.middle)) - a.reach - b.reach;
  const look = (a, b) => {
    if (best.gap <= 0 || low(a, b) >= best.gap - ALIKE) return;
    if (a.parts && b.parts) {
      for (const p of a.parts)
        for (const q of b.parts) {
          if (apart(p, q, sub(q.middle, p.middle)) >= best.gap - ALIKE) continue;
          if (apart(p, q, way) >= best.gap - ALIKE) continue;
          const found = measure(p.points, q.points);
          if (found.gap >= best.gap) continue;
          best = found;
          way = sub(found.two, found.one);
        }
      return;
    }
    const pairs = a.halves && (!b.halves || a.reach >= b.reach)
      ? a.halves.map((h) => [h, b])
      : b.halves.map((h) => [a, h]);
    pairs.sort((x, y) => low(...x) - low(...y)).forEach((pair) => look(...pair));
  };
  look(one, two);
  return best;
}

/** Whether a nearest point of a centre line lies where the tube is not round any more, but cut. */
const inCut = (p, { axis, cuts }) => size(sub(p, axis[0])) < cuts[0] || size(sub(p, axis.at(-1))) < cuts[1];

/**
 * Shortest distance between the surfaces of two bodies, with its two points.
 * A body has `triangles()` (arrays of three points) and, if it is a tube, `axis`, `radius` and
 * `cuts`: round surfaces are measured from the centre line, not from facets.
 */
function distance(one, two) {
  if (!one.axis && two.axis) return turned(distance(two, one));
  if (!one.axis) return nearest(facets(one), facets(two), triangleTriangle);
  const whole = fromAxis(one, two);
  if (!inCut(whole.from, one) && !(two.axis && inCut(whole.to, two))) return whole;
  // beside a cut end the facets count, elsewhere a tube is round
  const near = shortened(one), far = shortened(two), tips = endFacets(one);
  const tries = [nearest(tips, two.axis ? endFacets(two) : facets(two), triangleTriangle)];
  if (near.axis && (far.axis || !two.axis)) tries.push(fromAxis(near, far));
  if (near.axis && two.axis) tries.push(fromAxis(near, two, endFacets(two)));
  if (far.axis) tries.push(turned(fromAxis(far, one, tips)));
  return tries.reduce((m, x) => (x.gap < m.gap ? x : m));
}

const turned = ({ gap, one, two }) => ({ gap, one: two, two: one });

/** From a tube's round surface to another's, or to a mesh; `from` and `to` lie on centre lines. */
function fromAxis(one, two, mesh = null) {
  const round = two.axis && !mesh, radii = one.radius + (round ? two.radius : 0);
  const pieces = axisPieces(one.axis);
  const found = round
    ? nearest(pieces, axisPieces(two.axis), (a, b) => segmentSegment(a[0], a[1], b[0], b[1]))
    : nearest(pieces, mesh || facets(two), (a, b) => segmentTriangle(a[0], a[1], b));
  const ends = { from: found.one, to: found.two };
  if (found.gap <= radii) return { gap: 0, one: found.two, two: found.two, ...ends };
  const way = unit(sub(found.two, found.one));
  return {
    gap: found.gap - radii,
    one: add(found.one, scale(way, one.radius)),
    two: round ? sub(found.two, scale(way, two.radius)) : found.two,
    ...ends,
  };
}

/** A tube without the stretch at either end that its cut may have taken; without an axis when nothing is left. */
function shortened(body) {
  if (!body.axis) return body;
  let axis = body.axis;
  for (const off of body.cuts) axis = beyond(axis, off).reverse();
  return { ...body, axis: axis.length > 1 ? axis : null };
}

/** What of a line is left beyond a length from its start. */
function beyond(line, off) {
  for (let i = 0; i + 1 < line.length; i++) {
    const long = size(sub(line[i + 1], line[i]));
    if (long > off) return [mix(line[i], line[i + 1], off / long), ...line.slice(i + 1)];
    off -= long;
  }
  return [];
}

/** How each vertex shifts with the nearest spot of a line. */
function shiftsOf(mesh, way) {
  if (mesh.way === way) return mesh.shifts;
  const { points } = mesh, { line, shifts } = way, out = new Float32Array(points.length);
  for (let i = 0; i < points.length; i += 3) {
    const p = [points[i], points[i + 1], points[i + 2]];
    let best = Infinity;
    for (let k = 0; k + 1 < line.length; k++) {
      const found = segmentSegment(p, p, line[k], line[k + 1]);
      if (found.gap >= best) continue;
      best = found.gap;
      out.set(mix(shifts[k], shifts[k + 1], found.k), i);
    }
  }
  mesh.way = way;
  mesh.shifts = out;
  return out;
}

function meetsBox(from, along, { low, high }) {
  let near = -Infinity, far = Infinity;
  for (let k = 0; k < 3; k++) {
    const inverse = 1 / (along[k] || 1e-30);
    const a = (low[k] - 0.1 - from[k]) * inverse, b = (high[k] + 0.1 - from[k]) * inverse;
    near = Math.max(near, Math.min(a, b));
    far = Math.min(far, Math.max(a, b));
  }
  return near <= far && far > 0;
}

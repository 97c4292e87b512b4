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

/** Primitives with the ball round each: pieces of a centre line, or triangles of a mesh. */
function balls(parts) {
  return parts.map((points) => {
    const middle = scale(points.reduce(add), 1 / points.length);
    const reach = Math.max(...points.map((p) => size(sub(p, middle))));
    return { points, middle, reach };
  });
}

function axisPieces(axis) {
  const out = [];
  for (let i = 0; i + 1 < axis.length; i++) {
    const n = Math.max(1, Math.ceil(size(sub(axis[i + 1], axis[i])) / 80));
    for (let k = 0; k < n; k++)
      out.push([mix(axis[i], axis[i + 1], k / n), mix(axis[i], axis[i + 1], (k + 1) / n)]);
  }
  return balls(out);
}

function nearest(as, bs, measure) {
  let best = { gap: Infinity };
  const pairs = [];
  for (const a of as)
    for (const b of bs) {
      const low = size(sub(a.middle, b.middle)) - a.reach - b.reach;
      pairs.push([low, a, b]);
    }
  pairs.sort((x, y) => x[0] - y[0]);
  for (const [low, a, b] of pairs) {
    if (low >= best.gap) break;
    const found = measure(a.points, b.points);
    if (found.gap < best.gap) best = { ...found, a, b };
    if (best.gap <= 0) break;
  }
  return best;
}

/** Whether a nearest point is the very end of a centre line: there the tube is cut, not round. */
const atEnd = (p, axis) => size(sub(p, axis[0])) < 1e-6 || size(sub(p, axis.at(-1))) < 1e-6;

/**
 * Shortest distance between the surfaces of two bodies, with its two points.
 * A body has `triangles()` (arrays of three points) and, if it is a tube, `axis` and `radius`:
 * round surfaces are measured from the centre line, not from facets.
 */
function distance(one, two) {
  if (!one.axis && two.axis) {
    const back = distance(two, one);
    return { gap: back.gap, one: back.two, two: back.one };
  }
  if (one.axis) {
    const pieces = axisPieces(one.axis);
    const others = two.axis ? axisPieces(two.axis) : balls(two.triangles());
    const found = two.axis
      ? nearest(pieces, others, (a, b) => segmentSegment(a[0], a[1], b[0], b[1]))
      : nearest(pieces, others, (a, b) => segmentTriangle(a[0], a[1], b));
    const radii = one.radius + (two.axis ? two.radius : 0);
    if (found.gap <= radii && two.axis) return { gap: 0, one: found.one, two: found.two };
    if (!atEnd(found.one, one.axis) && !(two.axis && atEnd(found.two, two.axis))) {
      if (found.gap <= radii) return { gap: 0, one: found.two, two: found.two };
      const way = unit(sub(found.two, found.one));
      return {
        gap: found.gap - radii,
        one: add(found.one, scale(way, one.radius)),
        two: two.axis ? sub(found.two, scale(way, two.radius)) : found.two,
      };
    }
  }
  return nearest(balls(one.triangles()), balls(two.triangles()), triangleTriangle);
}

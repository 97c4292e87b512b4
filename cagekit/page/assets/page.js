"use strict";

const $ = (id) => document.getElementById(id);

/** Signs that are not seen but turn what stands beside them (right to left, for one): shown as they are typed. */
const UNSEEN = /[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]/g;
const plain = (text) => String(text).replace(UNSEEN, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, "0")}`);

/** An element with attributes, listeners (on...) and children; texts go in as text, never markup. */
function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children.filter((c) => c !== null && c !== undefined).map((c) => (c instanceof Node ? c : plain(c))));
  return made;
}

/**
 * Give an element these children; those that are as they were stay, with what is in focus there.
 * One that `told` the same before is found wherever it stood, others in their place only.
 */
function refill(box, ...children) {
  const old = [...box.childNodes];
  const spoke = new Map(old.filter((o) => o.told).map((o) => [o.told, o]));
  const kept = children.filter((c) => c !== null && c !== undefined).map((c, i) => {
    if (!(c instanceof Node)) return old[i]?.nodeType === 3 && old[i].data === plain(c) ? old[i] : document.createTextNode(plain(c));
    const was = c.told ? spoke.get(c.told) : old[i]?.isEqualNode(c) && !old[i].told ? old[i] : null;
    if (!was) return c;
    spoke.delete(c.told);
    for (const { name, value } of c.attributes) if (was.getAttribute(name) !== value) was.setAttribute(name, value);
    return was;
  });
  const stay = new Set(kept);
  old.filter((o) => !stay.has(o)).forEach((o) => o.remove());
  kept.forEach((node, i) => node === box.childNodes[i] || box.insertBefore(node, box.childNodes[i] || null));
}

const GROUPS = {
  plates: ["plates", "p"],
  parts: ["pins, sleeves, washers", ""],
  people: ["people", "b"],
  seats: ["seats", ""],
  car: ["car: shell, dash, doors, wheel", "c"],
};
const NAMES = { corner: "Corner", front: "Front", rear: "Rear", left: "Left", right: "Right", top: "Top" };
const LOUD = ["fail", "warn", "needs_input", "needs_inspection"];
const CHECKING = "being checked ...";
const BROKEN = "This browser or machine cannot draw in 3D (no WebGL2), so the still picture is shown; findings and tables are complete.";

const state = {
  data: JSON.parse($("data").textContent),
  hidden: new Set(["car"]),
  selected: "",
  finding: null,
  lit: { bodies: new Set(), points: [] },
  measuring: false,
  picks: [],
  result: null,
  sizes: false,
  angles: {},
  section: { on: false, axis: 1, at: 0.5, flip: false },
  old: false,
};
let viewer = null;

// --- the picture ------------------------------------------------------------------------------

const layerOf = (body) =>
  body.group === "members" ? `role ${state.data.cards[body.id].layer}` : body.group;
const title = (id) => state.data.cards[id]?.title || id.replaceAll("_", " ");
/** Another text lays the page out anew; the same must not. */
function write(id, text) {
  const shown = plain(text);
  if ($(id).textContent !== shown) $(id).textContent = shown;
}
const say = (text) => write("said", text);

function flat(error) {
  viewer = null;
  document.body.classList.add("flat");
  write("why", error.message === NO_GL ? BROKEN : `${BROKEN} (${error.message})`);
  $("why").hidden = false;
  if (!$("still").getAttribute("src")) $("still").hidden = true;
}

function begin() {
  viewer = new Viewer($("canvas"), $("overlay"));
  viewer.shows = (b) => !state.hidden.has(layerOf(b));
  viewer.colour = (b) => bandColour(b) || b.colour;
  viewer.band = bandOf;
  viewer.mark = (b) =>
    state.picks.some((p) => p.body.id === b.id) ? 2
      : b.id === state.selected || state.lit.bodies.has(b.id) ? 1 : 0;
  viewer.paint = paint;
  viewer.beside = () => (state.sizes ? state.data.sizes.flatMap((s) => [s.from, s.to]) : []);
  viewer.clicked = (hit) => {
    if (state.measuring) return pickForMeasure(hit);
    select(hit ? hit.body.id : "");
  };
}

function showTexts() {
  const { name, about, cautions } = state.data;
  write("name", name);
  write("about", about);
  write("caution", cautions.join(" "));
}

/** Show the data; `how` the viewer is asked for the picture. */
function showData(how = "ask") {
  const { data } = state;
  for (const b of data.bodies) b.ghost = b.late || (b.group === "car" && b.id !== "wheel");
  showTexts();
  if (!viewer) return;
  viewer.setBodies(data.bodies, data.triangles);
  if (viewer.lineData !== data.edges) viewer.setLines(data.edges);
  viewer.dim = state.old;
  turnDoors();
  cutPlane();
  bendShape();
  viewer[how]();
}

/** Put new data in: bodies that are known by their key come without their mesh; the picture comes before the lists. */
function update(data, how) {
  state.data = { ...state.data, ...data };
  if (!state.data.cards[state.selected]) state.selected = "";
  state.picks = [];
  state.result = null;
  showData(how);
  if (data.cards) fill();
}

function turnDoors() {
  if (!viewer) return;
  const before = viewer.motions.size;
  viewer.motions.clear();
  for (const door of state.data.doors) {
    const share = state.angles[door.name] || 0;
    if (!share) continue;
    const motion = turnAbout(door.point, door.axis, share * door.full);
    for (const id of door.bodies) viewer.motions.set(id, motion);
  }
  measureAgain();
  if (before || viewer.motions.size) viewer.ask();
}

function cutPlane() {
  if (!viewer) return;
  const { on, axis, at, flip } = state.section;
  viewer.cut = null;
  if (on) {
    const bodies = state.data.bodies.filter((b) => b.group === "members");
    const low = Math.min(...bodies.map((b) => b.mesh.low[axis])) - 5;
    const high = Math.max(...bodies.map((b) => b.mesh.high[axis])) + 5;
    const value = low + (high - low) * at, sign = flip ? -1 : 1;
    viewer.cut = [0, 0, 0, sign * value];
    viewer.cut[axis] = sign;
    state.section.value = value;
  }
}

const lengthText = (mm) =>
  state.data.units === "in" ? `${(mm / 25.4).toFixed(3)} in` : `${mm.toFixed(1)} mm`;

function paint(pen) {
  pen.font = "13px system-ui, sans-serif";
  if (state.sizes) {
    for (const s of state.data.sizes) dimension(pen, s.from, s.to, s.text);
    const card = state.data.cards[state.selected];
    if (card?.axis) {
      const middle = move(viewer.motion({ id: state.selected }), halfway(card.axis));
      label(pen, viewer.project(middle), `${card.title}: ${card.cut}`);
    }
  }
  if (state.result) {
    const { one, two, gap } = state.result;
    dimension(pen, one, two, gap > 0 ? lengthText(gap) : "they touch");
  }
  paintStrain(pen);
  const told = state.old ? "the last good cage, not what is typed"
    : state.data.bodies.some((b) => b.late) ? "plates follow" : "";
  const { wide, high } = viewer.size; // where it is narrow the axes stand below
  if (told) label(pen, [wide / 2, wide < 480 ? 48 : high - 16], told);
  state.lit.points.forEach((p, i) => marker(pen, viewer.project(p), i + 1));
  triad(pen);
}

/** The point half the way along a line of points. */
function halfway(points) {
  const steps = points.slice(1).map((p, i) => size(sub(p, points[i])));
  let left = steps.reduce((a, b) => a + b, 0) / 2;
  const at = steps.findIndex((long) => long >= left || ((left -= long), false));
  return mix(points[at], points[at + 1], left / (steps[at] || 1));
}

function label(pen, at, told) {
  if (!at) return;
  const text = plain(told);
  const wide = pen.measureText(text).width + 10, { wide: all, high } = viewer.size;
  const within = (v, half, room) => (v > -half && v < room + half ? clamp(v, half + 1, Math.max(room - half - 1, half + 1)) : v);
  at = [within(at[0], wide / 2, all), within(at[1], 10, high)];
  pen.fillStyle = "rgba(255,255,255,.92)";
  pen.fillRect(at[0] - wide / 2, at[1] - 10, wide, 20);
  pen.strokeStyle = pen.fillStyle = "#1d232c";
  pen.lineWidth = 1;
  pen.strokeRect(at[0] - wide / 2, at[1] - 10, wide, 20);
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(text, at[0], at[1] + 0.5);
}

function dimension(pen, from, to, text) {
  const a = viewer.project(from), b = viewer.project(to);
  if (!a || !b) return;
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
  pen.strokeStyle = pen.fillStyle = "#1d232c";
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.moveTo(...a);
  pen.lineTo(...b);
  pen.stroke();
  for (const [p, q] of [[a, b], [b, a]]) {
    const angle = Math.atan2(q[1] - p[1], q[0] - p[0]);
    pen.beginPath();
    pen.moveTo(...p);
    for (const turn of [-0.3, 0.3])
      pen.lineTo(p[0] + 9 * Math.cos(angle + turn), p[1] + 9 * Math.sin(angle + turn));
    pen.fill();
  }
  const off = long < 60 ? 22 : 0;
  label(pen, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2 - off], text);
}

function marker(pen, at, number) {
  if (!at) return;
  pen.beginPath();
  pen.arc(at[0], at[1], 11, 0, 7);
  pen.fillStyle = "#1d232c";
  pen.fill();
  pen.lineWidth = 2;
  pen.strokeStyle = "#ffe94a";
  pen.stroke();
  pen.fillStyle = "#fff";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(String(number), at[0], at[1] + 0.5);
}

function triad(pen) {
  const { right, up } = viewer.axes(), { wide, high } = viewer.size;
  const [arm, ...centre] = wide < 480 ? [16, 58, high - 24] : [28, 84, high - 44];
  const names = ["X front", "Y left", "Z up"];
  [[1, 0, 0], [0, 1, 0], [0, 0, 1]].forEach((axis, k) => {
    const tip = [centre[0] + arm * dot(axis, right), centre[1] - arm * dot(axis, up)];
    pen.strokeStyle = pen.fillStyle = "#1d232c";
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(...centre);
    pen.lineTo(...tip);
    pen.stroke();
    if (Math.hypot(tip[0] - centre[0], tip[1] - centre[1]) < 8) return;
    const aside = tip[0] - centre[0];
    pen.textAlign = Math.abs(aside) < 6 ? "center" : aside < 0 ? "right" : "left";
    pen.textBaseline = tip[1] < centre[1] ? "bottom" : "top";
    pen.lineWidth = 3; // the cage may lie behind the words
    pen.strokeStyle = "#f4f5f7";
    pen.strokeText(names[k], ...tip);
    pen.fillText(names[k], ...tip);
  });
}

// --- choosing, measuring, findings ------------------------------------------------------------

function select(id, fly = false) {
  state.selected = state.data.cards[id] || !id ? id : "";
  state.finding = null;
  state.lit = { bodies: new Set(), points: [] };
  if (id && !state.data.cards[id]) say(`${title(id)}: not a part of the cage.`);
  else say(id ? `${title(id)} is picked.` : "");
  fillCard();
  markRows();
  state.onSelect?.(state.selected);
  if (state.selected && !fly) $("card").scrollIntoView({ block: "nearest" });
  if (!viewer) return;
  if (fly && state.selected) {
    const bodies = viewer.bodies.filter((b) => b.id === id);
    const { target, reach } = viewer.around(bodies);
    viewer.fly({ ...viewer.camera, target, reach: Math.max(reach * 1.4, 700) });
  }
  viewer.ask();
}

/** From tube to tube, and on to plates, with the keyboard. */
function step(by) {
  const ids = state.data.bodies.filter((b) => state.data.cards[b.id]).map((b) => b.id);
  const at = ids.indexOf(state.selected);
  select(ids[(at + by + ids.length + (at < 0 && by < 0 ? 1 : 0)) % ids.length]);
}

function openSection(id) {
  const section = $(id);
  if (section) section.open = true;
}

function showFinding(index) {
  const row = state.data.findings[index];
  state.finding = index;
  state.selected = "";
  const names = new Set([...row.members, ...row.plates]);
  const lit = state.data.bodies.filter(
    (b) => names.has(b.id) || state.data.cards[b.id]?.names.some((n) => names.has(n)),
  );
  state.lit = { bodies: new Set(lit.map((b) => b.id)), points: row.points };
  say(`${row.mark}: ${row.called}, ${row.quantity}.${row.note ? ` ${row.note}.` : ""}`);
  markRows();
  if (!viewer) return;
  const box = viewer.around(row.points.length ? [] : lit, row.points);
  const reach = Math.max(box.reach * 1.6, 700);
  if (lit.length || row.points.length)
    viewer.fly({ ...viewer.camera, target: box.target, reach });
  viewer.ask();
}

function markRows() {
  document.querySelectorAll(".finding").forEach((b) =>
    b.setAttribute("aria-pressed", String(Number(b.dataset.index) === state.finding)));
  document.querySelectorAll("tr[data-id]").forEach((r) =>
    r.setAttribute("aria-selected", String(r.dataset.id === state.selected)));
}

function measureMode(on) {
  state.measuring = on;
  state.picks = [];
  state.result = null;
  $("measure").setAttribute("aria-pressed", String(on));
  say(on ? "Measure: pick the first surface, or go to it with [ and ], then Enter." : "");
  viewer.ask();
}

function pickForMeasure(hit) {
  if (!hit) return;
  if (state.picks.length === 2) state.picks = [];
  state.result = null;
  state.picks.push(hit);
  if (state.picks.length === 1) say(`Measure: ${title(hit.body.id)} to ... pick the second surface.`);
  measureAgain();
  viewer.ask();
}

/** Without a mouse: what [ and ] have come to is what is measured from or to. */
function pickByKey() {
  const body = viewer.bodies.find((b) => b.id === state.selected), first = state.picks.length === 1 && state.picks[0].body;
  if (!body || body === first) return say(`Measure: ${first ? `${title(first.id)} to ... ` : ""}go to a tube or plate with [ and ], then Enter.`);
  pickForMeasure({ body, point: mix(body.mesh.low, body.mesh.high, 0.5) });
}

/** A body as what `distance` measures, where it is now. */
function solid(body) {
  const m = viewer.motion(body), { points, triangles } = body.mesh;
  const corner = (i) => move(m, [points[3 * i], points[3 * i + 1], points[3 * i + 2]]);
  const card = state.data.cards[body.id];
  return {
    axis: card?.axis?.map((p) => move(m, p)),
    radius: card?.radius,
    cuts: card?.cuts,
    triangles: () => {
      const out = [];
      for (let i = 0; i < triangles.length; i += 3)
        out.push([corner(triangles[i]), corner(triangles[i + 1]), corner(triangles[i + 2])]);
      return out;
    },
  };
}

function measureAgain() {
  if (state.picks.length < 2) return;
  const [a, b] = state.picks;
  if (a.body.id === b.body.id) {
    state.result = { gap: size(sub(a.point, b.point)), one: a.point, two: b.point };
    say(`${title(a.body.id)}: ${lengthText(state.result.gap)} between the two spots.`);
    return;
  }
  state.result = distance(solid(a.body), solid(b.body));
  const gap = state.result.gap > 0 ? `${lengthText(state.result.gap)} apart at the nearest` : "they touch";
  say(`${title(a.body.id)} and ${title(b.body.id)}: ${gap}.`);
}

// --- the side ---------------------------------------------------------------------------------

function section(id, name, open, screen = true) {
  const made = el("details", { id, class: screen ? "screen" : "" }, el("summary", {}, name),
    el("div", { class: "body" }));
  made.open = open;
  $("side").append(made);
  return made;
}

const inside = (id) => $(id).querySelector(".body");

function build() {
  section("card", "Picked", true);
  section("findings", "Findings", true, false);
  section("layers", "Layers", false);
  section("strength", "Strength", false, false);
  section("doors", "Door bars", false);
  section("section", "Section and sizes", false);
  section("tubes", "Tubes", false, false);
  section("notes", "Notes", false, false);
  section("help", "Keys", false);
  buildTools();
  buildSection();
  inside("help").append(...HELP.map(([key, what]) => el("p", {}, el("kbd", {}, key), ` ${what}`)));
}

const HELP = [
  ["drag", "turn; with shift or the right button: move; wheel: zoom; two fingers: move and zoom"],
  ["arrows", "turn; with shift: move (picture in focus)"],
  ["+ -", "zoom"],
  ["1 ... 7", "corner, front, rear, left, right, top, driver's eye"],
  ["f", "fit what is picked, else all"],
  ["o", "parallel or perspective"],
  ["[ ]", "tube before, tube after"],
  ["m d s", "measure, sizes, section"],
  ["Enter", "measure from or to what [ and ] have come to (picture in focus)"],
  ["p b c", "plates, people, car on and off"],
  ["Esc", "nothing picked"],
];

function buildTools() {
  const tool = (name, key, run, more = {}) =>
    $("tools").append(el("button", { type: "button", onclick: run, ...more }, name,
      key ? el("kbd", {}, key) : null));
  Object.keys(VIEWS).forEach((name, i) =>
    tool(NAMES[name], String(i + 1), () => look(name), { id: `view-${name}` }));
  if (state.data.eyes.length) tool("Driver's eye", "7", driverView, { id: "view-eye" });
  tool("Fit", "f", fit, { id: "fit" });
  tool("Parallel", "o", () => toggleParallel(), { id: "parallel", "aria-pressed": "false" });
  tool("Measure", "m", () => measureMode(!state.measuring), { id: "measure", "aria-pressed": "false" });
  tool("Sizes", "d", toggleSizes, { id: "sizes", "aria-pressed": "false" });
}

function toggleParallel() {
  viewer.parallel = !viewer.parallel;
  $("parallel").setAttribute("aria-pressed", String(viewer.parallel));
  viewer.ask();
}

function toggleSizes() {
  const whole = viewer.around(viewer.shown()).reach <= viewer.camera.reach * 1.02;
  state.sizes = !state.sizes;
  // who sees the whole cage sees its sizes whole
  if (state.sizes && whole && !state.selected) fit();
  $("sizes").setAttribute("aria-pressed", String(state.sizes));
  viewer.ask();
}

function look(name) {
  comeBack();
  viewer.look(name);
}

function fit() {
  comeBack();
  const picked = viewer.bodies.filter((b) => b.id === state.selected);
  const from = { ...viewer.camera, lens: LENS };
  viewer.fly({ ...from, ...(picked.length ? viewer.around(picked, [], from) : viewer.around(viewer.shown(), viewer.beside(), from)) });
}

/** Look forward from between the driver's eyes: the camera stands there, parallel is off. */
function driverView() {
  const eye = state.data.eyes[0];
  if (!eye) return;
  viewer.parallel = false;
  $("parallel").setAttribute("aria-pressed", "false");
  state.away ||= !state.hidden.has("people");
  state.hidden.add("people");
  fillLayers();
  const reach = 500, half = (reach / 2) * Math.max(1, viewer.size.high / viewer.size.wide);
  viewer.fly({ target: add(eye, [half / WIDE, 0, 0]), eye: [-1, 0, 0], up: [0, 0, 1], reach, lens: WIDE });
  say("As the driver looks ahead, from between the eyes; people are left out.");
}

/** People that were left out for the driver's view are there again. */
function comeBack() {
  if (state.away) {
    say("");
    showLayer("people", true);
  }
}

function buildSection() {
  const s = state.section, redo = () => {
    cutPlane();
    viewer?.ask();
    where.value = s.on ? lengthText(s.value) : "";
  };
  const where = el("output", { for: "cut-at" });
  const axis = el("select", { id: "cut-axis", onchange: (e) => { s.axis = Number(e.target.value); redo(); } },
    ...["X, across the car", "Y, along the car", "Z, level"].map((t, i) => el("option", { value: i, selected: i === 1 }, t)));
  const box = (id, text, change, on = false) =>
    el("label", {}, el("input", { type: "checkbox", id, checked: on, onchange: (e) => { change(e.target.checked); redo(); } }), text);
  inside("section").append(
    el("div", { class: "row" }, box("cut-on", "cut open", (on) => (s.on = on)), box("cut-flip", "other half", (on) => (s.flip = on))),
    el("div", { class: "row" }, el("label", { for: "cut-axis" }, "plane"), axis),
    el("div", { class: "row" }, el("label", { for: "cut-at" }, "at"),
      el("input", { type: "range", id: "cut-at", min: 0, max: 1, step: 0.002, value: 0.5, oninput: (e) => { s.at = Number(e.target.value); redo(); } }), where),
  );
}

function fill() {
  fillCard();
  fillFindings();
  fillLayers();
  fillDoors();
  fillTubes();
  fillNotes();
  strengthCame();
  markRows();
}

function fillCard() {
  const card = state.data.cards[state.selected], box = inside("card");
  if (!card)
    return refill(box, el("p", {}, `Pick a tube or plate ${viewer ? "in the picture, " : ""}in the list of tubes, or with the keys [ and ].`));
  openSection("card");
  refill(box, el("p", {}, el("strong", { id: "card-title" }, card.title)),
    el("table", {}, el("tbody", {}, ...card.rows.map(([k, v]) => el("tr", {}, el("th", { scope: "row" }, k), el("td", {}, v))))),
    aboutCard(card));
}

/** What the checks say of the part that is picked. */
function aboutCard(card) {
  const about = findingsOf(card, state.selected);
  if (!about.length) return el("p", {}, unjudged() ? CHECKING : "No finding speaks of it.");
  // beside sliders only what is wrong takes their room
  const wrong = about.filter((i) => ["fail", "warn"].includes(state.data.findings[i].status)).length;
  const words = [wrong ? `${wrong} that fail or warn` : "", about.length - wrong ? `${about.length - wrong} to look at or give` : ""];
  return el("details", { open: !state.data.live || wrong > 0 },
    el("summary", {}, `What the checks say: ${words.filter(Boolean).join(", ")}`), ...about.map(findingButton));
}

function findingsOf(card, id) {
  const names = new Set(card.names);
  return state.data.findings
    .map((f, i) => [f, i])
    .filter(([f]) => LOUD.includes(f.status))
    .filter(([f]) => names.has(f.subject) || f.members.includes(id) || f.plates.includes(id))
    .map(([, i]) => i);
}

function findingButton(index) {
  const f = state.data.findings[index];
  const said = f.measured ? `${f.quantity}: ${f.measured}` : f.quantity;
  const verb = f.status === "warn" ? "should be" : "must be";
  const ask = f.limit && f.status !== "pass" ? `, ${verb} ${f.limit}` : f.limit ? ` (${f.limit})` : "";
  const show = (e) => showFinding(Number(e.currentTarget.dataset.index));
  const made = el("button", { type: "button", class: `finding ${f.status}`, "data-index": index, "aria-pressed": "false", onclick: show },
    el("span", { class: "mark" }, `${f.sign} ${f.mark}`), f.called,
    el("p", {}, `${said}${ask}`),
    f.text && f.status !== "pass" ? el("p", {}, f.text) : null,
    f.cure && f.status !== "pass" ? el("p", {}, `Cure: ${f.cure}`) : null,
    el("p", { class: "source" }, `${f.source} [${f.code}]`));
  made.told = JSON.stringify(f);
  return made;
}

/** On the live page the findings come after the picture; until then nothing is known. */
const unjudged = () => state.data.judged === 0;

function counted() {
  if (unjudged()) return CHECKING;
  const count = (s) => state.data.findings.filter((f) => f.status === s).length;
  return `${count("fail")} fail, ${count("warn")} warn, ${count("needs_input")} need input, ${count("needs_inspection")} to look at, ${count("pass")} pass`;
}

function fillFindings() {
  const found = state.data.findings, box = inside("findings");
  const loud = found.map((f, i) => i).filter((i) => LOUD.includes(found[i].status));
  const quietOnes = () => state.data.findings.flatMap((f, i) => (LOUD.includes(f.status) ? [] : [i]));
  const quiet = quietOnes().length;
  const head = $("findings").querySelector("summary");
  refill(head, "Findings ", el("span", { class: "count", id: "counts" }, counted()));
  box.classList.toggle("old", !!state.findingsOld);
  const more = el("details", { class: "screen", ontoggle: (e) => {
    if (e.target.open && e.target.childElementCount === 1) e.target.append(...quietOnes().map(findingButton));
  } }, el("summary", {}, `${quiet} that pass or do not apply`));
  refill(box, ...loud.map(findingButton), quiet ? more : null,
    found.length ? null : el("p", {}, unjudged() ? CHECKING : "No checks were made."));
}

function fillLayers() {
  const rows = new Map();
  for (const b of state.data.bodies) {
    const key = layerOf(b);
    const name = b.group === "members" ? state.data.cards[b.id].layer : GROUPS[b.group]?.[0] || b.group;
    const row = rows.get(key) || { name, count: 0, colour: b.colour };
    if (state.data.cards[b.id]) row.count++; // a person is many bodies
    rows.set(key, row);
  }
  refill(inside("layers"), ...[...rows].map(([key, row]) => {
    const swatch = el("span", { class: "swatch" });
    swatch.style.background = `rgb(${row.colour.map((c) => Math.round(c * 255)).join(" ")})`;
    return el("div", { class: "row" }, el("label", {}, el("input", {
      type: "checkbox", "data-layer": key, checked: !state.hidden.has(key),
      onchange: (e) => showLayer(key, e.target.checked),
    }), swatch, row.count ? `${row.name} (${row.count})` : row.name));
  }));
  if (viewer) viewer.showLines = !state.hidden.has("car");
}

function showLayer(key, on) {
  if (key === "people") state.away = false;
  if (on) state.hidden.delete(key);
  else state.hidden.add(key);
  fillLayers();
  viewer?.ask();
}

function fillDoors() {
  $("doors").hidden = !state.data.doors.length;
  inside("doors").replaceChildren(...state.data.doors.map((door) => {
    const out = el("output", {}, angleText(door));
    const slide = el("input", { type: "range", min: 0, max: 1, step: 0.01, value: state.angles[door.name] || 0,
      id: `door-${door.name}`, "aria-label": `${title(door.name)} open`,
      oninput: (e) => { state.angles[door.name] = Number(e.target.value); out.value = angleText(door); turnDoors(); } });
    return el("div", {}, el("label", { for: slide.id }, title(door.name)), el("div", { class: "row" }, slide, out));
  }));
}

const angleText = (door) =>
  `${(((state.angles[door.name] || 0) * door.full * 180) / Math.PI).toFixed(0)}° of ${((door.full * 180) / Math.PI).toFixed(0)}°`;

function fillTubes() {
  const ids = state.data.bodies.filter((b) => b.group === "members").map((b) => b.id);
  const rows = ids.map((id) => {
    const c = state.data.cards[id];
    return el("tr", { "data-id": id }, el("td", {}, el("button", { type: "button", class: "plain", onclick: () => select(id, true) }, c.title)),
      el("td", {}, c.tube), el("td", { class: "number" }, c.cut), el("td", { class: "number" }, String(c.bends)), el("td", { class: "number" }, c.mass));
  });
  const body = $("tubes").querySelector("tbody");
  if (body) return refill(body, ...rows);
  inside("tubes").append(el("table", {}, el("thead", {}, el("tr", {}, ...["Tube", "Size", "Cut length", "Bends", "Mass"].map((t, i) => el("th", { scope: "col", class: i > 1 ? "number" : "" }, t)))), el("tbody", {}, ...rows)));
}

function fillNotes() {
  $("notes").hidden = !state.data.notes.length;
  refill(inside("notes"), el("ul", {}, ...state.data.notes.map((n) => el("li", {}, n))));
}

// --- keys and print ---------------------------------------------------------------------------

const VIEW_KEYS = Object.fromEntries(Object.keys(VIEWS).map((v, i) => [String(i + 1), v]));

/** Whether a letter typed there is text, or chooses something: sliders and ticks take none. */
const typing = (at) => at.matches?.("input:not([type='range'], [type='checkbox'], [type='radio']), select, textarea");

function key(e) {
  if (e.ctrlKey || e.metaKey || e.altKey || typing(e.target)) return;
  if (!viewer && !["[", "]", "Escape"].includes(e.key)) return;
  const turn = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
  if (turn && e.target === $("canvas")) {
    if (e.shiftKey) viewer.pan(turn[0] * 30, turn[1] * 30);
    else viewer.orbit(turn[0] * 0.1, turn[1] * 0.1);
  } else if (VIEW_KEYS[e.key]) look(VIEW_KEYS[e.key]);
  else if (e.key === "7") driverView();
  else if (e.key === "+" || e.key === "=") viewer.zoom(0.85);
  else if (e.key === "-") viewer.zoom(1 / 0.85);
  else if (e.key === "f") fit();
  else if (e.key === "o") toggleParallel();
  else if (e.key === "m") measureMode(!state.measuring);
  else if (e.key === "d") toggleSizes();
  else if (e.key === "s") openSection("section"), $("cut-on").click();
  else if (e.key === "Enter" && state.measuring && e.target === $("canvas")) pickByKey();
  else if (e.key === "]") step(1);
  else if (e.key === "[") step(-1);
  else if (e.key === "Escape") {
    if (state.measuring) measureMode(false);
    select("");
  } else {
    const group = Object.keys(GROUPS).find((g) => GROUPS[g][1] === e.key);
    if (!group) return;
    showLayer(group, state.hidden.has(group));
  }
  e.preventDefault();
}

/** On paper: the picture as it stands, all lists open. */
let opened = [];
addEventListener("beforeprint", () => {
  // where paper is shown already, the canvas has no size and the picture stays what it was
  if (viewer && $("canvas").clientWidth) {
    viewer.draw(FINE);
    const sheet = el("canvas", { width: $("canvas").width, height: $("canvas").height });
    const pen = sheet.getContext("2d");
    pen.drawImage($("canvas"), 0, 0);
    pen.drawImage($("overlay"), 0, 0);
    state.stillSource ??= $("still").getAttribute("src");
    $("still").src = sheet.toDataURL("image/png");
  }
  opened = [...document.querySelectorAll("#side > details:not(.screen)")].filter((d) => !d.open);
  opened.forEach((d) => (d.open = true));
});
addEventListener("afterprint", () => {
  opened.forEach((d) => (d.open = false));
  if (state.stillSource !== undefined) $("still").src = state.stillSource;
});

async function start() {
  try {
    begin();
  } catch (error) {
    flat(error);
  }
  if (state.data.waiting) state.data = await cageCame(state.data);
  const { data } = state;
  try {
    if (viewer && data.meshes) {
      const flat = new Blob([bytes(data.meshes)]).stream().pipeThrough(new DecompressionStream("deflate"));
      const meshes = await new Response(flat).json();
      for (const b of data.bodies) b.packed = meshes[b.key];
      delete data.meshes;
    }
  } catch (error) {
    flat(error);
  }
  build();
  showData();
  fill();
  addEventListener("keydown", key);
  viewer?.measure(); // the tools are there now
  if (viewer) Object.assign(viewer.camera, viewer.around(viewer.shown()));
  document.body.dataset.ready = viewer ? "3d" : "flat";
}

state.started = start();

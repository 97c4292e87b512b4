"use strict";

// What `cagekit view` adds: parameters, undo and redo, saving, making, and following the server.

const live = { told: 0, waiting: null, busy: false, drag: 1, lost: false, stopped: false, server: 0, cpu: 0, judgedAt: 0, trouble: null };

/** By XMLHttpRequest: what it brings is here sooner than by `fetch`, which hands large answers on in pieces. */
function ask(name, body) {
  return new Promise((done, failed) => {
    const asked = new XMLHttpRequest();
    asked.open("POST", name);
    asked.setRequestHeader("Content-Type", "application/json");
    asked.onerror = () => failed(new Error("connection lost"));
    asked.onload = () => {
      const told = asked.getResponseHeader("Server-Timing") || "";
      [live.server, live.cpu] = ["work", "cpu"].map((name) => Number(new RegExp(`${name};dur=([\\d.]+)`).exec(told)?.[1] || 0));
      if (asked.status !== 200) return failed(new Error(asked.responseText));
      done(asked.responseText);
    };
    asked.send(JSON.stringify({ have: state.data.version, ...body }));
  }).then(JSON.parse);
}

/** Do one thing at the server and show what comes of it. */
async function act(name, body = {}) {
  if (live.stopped) return;
  try {
    take(await ask(name, body));
  } catch (error) {
    lost(error);
  }
}

/** One change at a time: while one is on its way only the newest waits. */
async function change(key, value, drag, unset) {
  live.waiting = { key, value, drag, unset };
  if (live.busy) return;
  live.busy = true;
  while (live.waiting) {
    const next = live.waiting;
    live.waiting = null;
    await act("change", next);
  }
  live.busy = false;
}

/** Takes a value out of its file: the layout or the default says it then, or it is worked out. */
const takeOut = (key) => change(key, null, 0, true);

function lost(error) {
  if (live.stopped) return;
  live.lost = true;
  write("link", `The server does not answer (${error.message}). What you see stays; trying again.`);
  $("link").hidden = false;
}

/** Take in an answer: version, cage and where the session stands. */
function take(data) {
  if (data.version < state.data.version) return;
  if (state.data.problem && !data.problem) say("");
  if (data.refused) {
    say(data.refused);
    live.straining = false;
  } else if (data.said) say(data.said);
  write("refused", data.refused || "");
  $("refused").hidden = !data.refused;
  state.old = !!data.problem;
  // an answer may come later than what was told after it
  if (data.told < live.told) data.making = state.data.making;
  if (data.judged < state.data.judged) ({ findings: data.findings, judged: data.judged } = state.data);
  if (live.strength?.of === data.version) data.strength = live.strength.strength;
  state.findingsOld = (data.judged ?? state.data.judged) !== data.version;
  // a choice brings other fields with it
  if (data.offered !== state.data.offered) setTimeout(refresh, 0, 0);
  if (data.cards) data.textsOf = textsOf(data);
  update(data, "now");
  if (live.bodies) bodies(live.bodies);
  if (live.texts) texts(live.texts);
  standing();
}

/** The stage (`Drawn`) after which no more bodies come. */
const WHOLE = 2;
/** The first texts lack the masses: those of no version. */
const textsOf = ({ version, weighed }) => (weighed ? version : 0);

/** While a slider moves plates and exact edges come after the tubes. */
function bodies(told) {
  live.bodies = told.of > state.data.version ? told : null;
  if (told.of !== state.data.version || told.stage <= state.data.stage) return;
  // exact edges hardly show: the sharp picture, which comes anyway, has them
  update({ bodies: told.bodies, triangles: told.triangles, stage: told.stage }, told.stage < WHOLE ? "ask" : "askSharp");
}

/** Cards and sizes come after the picture. */
function texts(told) {
  live.texts = told.of > state.data.version ? told : null;
  if (told.of !== state.data.version || told.of === state.data.textsOf) return;
  Object.assign(state.data, told.texts, { textsOf: told.of });
  write("about", state.data.about);
  fill();
  viewer?.askWords();
}

/** Where the browser cannot draw the server does; while one picture is on its way the next waits. */
function still() {
  const image = $("still"), wanted = state.data.version;
  if (viewer || live.drawing || live.stopped || live.still === wanted) return;
  live.drawing = true;
  live.still = wanted;
  image.onload = image.onerror = () => {
    live.drawing = false;
    still();
  };
  image.hidden = false;
  image.src = `still?version=${wanted}`;
}

function standing() {
  still();
  const { problem, changes, canUndo, canRedo, unsaved, making, madeOld } = state.data;
  write("problem", problem ? `${problem}\nThe last good cage is shown, greyed.` : "");
  $("problem").hidden = !problem;
  $("undo").disabled = !canUndo;
  $("redo").disabled = !canRedo;
  $("save").disabled = !unsaved;
  $("make-all").disabled = !!making || !!problem;
  write("making", making || (live.made ? `${live.made}${madeOld ? " Changed since then: make them again." : ""}` : ""));
  tally();
  document.title = `${unsaved ? "* " : ""}${state.data.name}`;
  const now = new Map(changes.map((c) => [c.key, c]));
  for (const c of changes) c.gone.filter((key) => !now.has(key)).forEach((key) => now.set(key, { ...c, now: null, at: null }));
  refill($("changed"), ...changes.map((c) => el("li", { "data-key": c.key },
    `${c.what}: `, inOne(c.was, c.unit), " → ", ...became(c), " ", c.typed ? el("code", {}, c.typed) : null, " ",
    el("button", { type: "button", class: "plain", onclick: () => change(c.key, null) }, "take back"))));
  $("unchanged").hidden = changes.length > 0;
  for (const field of document.querySelectorAll(".field")) {
    const p = live.params.get(field.dataset.key), c = now.get(p.key);
    field.classList.toggle("changed", !!c);
    const out = field.querySelector("button.out");
    if (out) out.hidden = !!c?.gone.length;
    if (c) show(field, p, c.now, c.at);
    else show(field, p, p.value, p.value);
  }
}

/** What a value is now, in the list of changes. */
function became({ gone, now, unit }) {
  if (!gone.length) return [inOne(now, unit)];
  return ["no longer in the file", ...(now === null ? [] : [": ", inOne(now, unit)])];
}

/** What the checks say, in a line that stays in sight. */
function tally() {
  const broken = live.trouble?.of === state.data.version ? live.trouble.trouble : state.data.broken;
  const word = broken ? `, not checked: ${broken}`
    : unjudged() ? ""
      : state.data.problem ? ", of the last good cage"
        : state.findingsOld ? ", being checked again" : "";
  write("tally", `Findings: ${counted()}${word}`);
}

/** `value` as it was typed or stands in the file; `at` is where the slider stands for it. */
function show(field, p, value, at) {
  for (const input of field.querySelectorAll("input, select")) {
    // a hand is on it; a slider that rests goes along when a change is undone
    if (input === document.activeElement && (input.type !== "range" || live.busy)) continue;
    if (input.type === "range") slideTo(input, p, at);
    else input.value = figure(value, p.unit);
  }
}

function slideTo(slide, p, at) {
  const there = typeof at === "number";
  slide.value = there ? at : (p.low + p.high) / 2;
  slide.setAttribute("aria-valuetext", there ? withUnit(at, p.unit) : "worked out");
}

/** A number as it is read off in its unit: inches in halves to sixty-fourths where they are that. */
function figure(value, unit) {
  if (value === null) return "";
  const parts = Math.round(Math.abs(value) * 64);
  if (typeof value !== "number" || unit !== "in" || Math.abs(Math.abs(value) * 64 - parts) > 0.004) return String(value);
  let [over, under] = [parts % 64, 64];
  while (over && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const whole = Math.floor(parts / 64), words = [whole || !over ? whole : "", over ? `${over}/${under}` : ""];
  return `${value < 0 && parts ? "-" : ""}${words.join(" ").trim()}`;
}

/** A number and its unit, which no line parts; words break where they will. */
const inOne = (value, unit) => (typeof value === "number" ? el("span", { class: "one" }, withUnit(value, unit)) : withUnit(value, unit));

const withUnit = (value, unit) => (typeof value === "number" && unit ? `${figure(value, unit)} ${unit}` : String(value));

function buildLive() {
  const made = el("details", { id: "change", class: "screen", open: true }, el("summary", {}, "Change"),
    el("div", { class: "body" },
      el("p", { id: "unchanged" }, "Nothing is changed. What is picked comes first below."),
      el("ul", { id: "changed" }),
      el("div", { id: "params" })));
  // in sight however far the list below is scrolled: what can be done, what is wrong, what the checks say
  const bar = el("div", { id: "bar", class: "screen" },
    el("div", { class: "row" },
      ...[["undo", "Undo", "z"], ["redo", "Redo", "y"], ["save", "Save", ""]].map(([id, name, key]) =>
        el("button", { type: "button", id, onclick: () => act(id) }, name, key ? el("kbd", {}, key) : null)),
      el("button", { type: "button", id: "make-all", onclick: () => act("make") }, "Make all files")),
    el("p", { id: "making", role: "status" }),
    ...["link", "problem", "refused"].map((id) => el("p", { id, class: "problem", role: "alert", hidden: true })),
    el("button", { type: "button", class: "plain", id: "tally", onclick: () => {
      openSection("findings");
      $("findings").scrollIntoView();
      $("findings").querySelector("summary").focus();
    } }));
  $("side").prepend(bar, $("card"), made);
  new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${bar.offsetHeight}px`)).observe(bar);
  fillParams();
}

function fillParams() {
  live.params = new Map(state.data.params.map((p) => [p.key, p]));
  const owners = new Map();
  for (const p of state.data.params) owners.set(p.owner, [...(owners.get(p.owner) || []), p]);
  const name = (d) => d.dataset.member || d.dataset.owner;
  const open = new Set([...document.querySelectorAll("#params > details[open]")].map(name));
  const focus = document.activeElement?.id;
  $("params").replaceChildren(...[...owners].map(([owner, rows]) => {
    const [{ place, member }] = rows;
    const made = el("details", { "data-owner": owner, "data-member": member },
      el("summary", {}, owner, " ", el("code", {}, place)), el("div", { class: "body" }));
    // fields are made when they are looked at: there are hundreds
    const look = () => {
      const box = made.querySelector(".body");
      if (!made.open || box.childElementCount) return;
      box.append(...rows.map(fieldOf));
      standing();
    };
    made.look = look;
    made.addEventListener("toggle", look);
    made.open = open.has(name(made));
    return made;
  }));
  $("params").prepend(...tablesOf(state.selected));
  document.querySelectorAll("#params > details").forEach((d) => d.look());
  // who has just chosen something stays where that was
  if (focus && document.activeElement === document.body) $(focus)?.focus({ preventScroll: true });
}

function fieldOf(p) {
  const id = `field-${p.key}`;
  // the file's own word, so that its entry is found there
  const typed = p.typed === p.name ? [] : [" ", el("code", {}, p.typed)];
  const label = el("label", { for: id }, p.name, ...typed);
  const out = p.said
    ? el("button", { type: "button", class: "plain out", onclick: () => takeOut(p.key), "aria-label": `take ${p.owner} ${p.name} out of the file`,
      title: "the layout or the default says it then, or it is worked out" }, "take out") : null;
  if (p.choices.length) {
    const truth = p.choices[0] === "true", meant = truth ? (v) => v === "true" : typeof p.value === "number" ? Number : String;
    const choose = el("select", { id, onchange: (e) => change(p.key, meant(e.target.value)) },
      ...p.choices.map((c) => el("option", { value: c }, truth ? (c === "true" ? "yes" : "no") : c)));
    return el("div", { class: "field", "data-key": p.key }, el("div", { class: "row" }, label, choose, out), p.about ? el("small", {}, p.about) : null);
  }
  const slide = el("input", { type: "range", min: p.low, max: p.high, step: p.step, "aria-label": `${p.owner} ${p.name}` });
  const text = el("input", { type: "text", id, placeholder: "worked out", autocomplete: "off" });
  // who takes hold of it anew begins another step to undo
  for (const hold of ["pointerdown", "blur"]) slide.addEventListener(hold, () => (live.drag += 1));
  slide.addEventListener("input", () => {
    const value = Number(slide.value);
    text.value = figure(value, p.unit);
    slide.setAttribute("aria-valuetext", withUnit(value, p.unit));
    change(p.key, value, live.drag);
  });
  text.addEventListener("change", () => {
    const typed = text.value.trim(), number = Number(typed);
    if (typed === "" && p.said) takeOut(p.key);
    else change(p.key, typed === "" ? null : Number.isFinite(number) ? number : typed);
  });
  return el("div", { class: "field", "data-key": p.key }, label,
    el("div", { class: "row" }, slide, text, p.unit, out),
    el("small", {}, `${p.about ? `${p.about}; ` : ""}slider `, el("span", { class: "one" }, figure(p.low, p.unit)), " to ", inOne(p.high, p.unit)));
}

/** The strength is worked out when asked for: it takes longer than a slider may wait. */
function askStrength() {
  const press = () => {
    live.straining = true;
    strengthCame();
    act("strength");
  };
  return [
    el("p", {}, "The frame under its load cases, for the cage as it is shown. A change of the cage takes the result away."),
    el("button", { type: "button", id: "strength-work", onclick: press, disabled: !!live.straining },
      live.straining ? "Working it out ..." : "Work out the strength"),
  ];
}

/** What is changed of a tube or plate: a table of one side alone says more than that of both. */
function tablesOf(id) {
  const all = [...document.querySelectorAll("#params > details")];
  return (state.data.cards[id]?.names || []).flatMap((n) => all.filter((d) => d.dataset.member === n));
}

/** What belongs to the tube that is picked stands open, and first. */
function openParams(id) {
  const found = tablesOf(id);
  document.querySelectorAll("#params > details").forEach((d) => (d.open = d === found[0]));
  $("params").prepend(...found);
}

function follow() {
  const heard = new EventSource("events");
  heard.onmessage = async ({ data }) => {
    const told = JSON.parse(data);
    live.told = told.told ?? live.told;
    if (live.lost) {
      live.lost = false;
      $("link").hidden = true;
      return refresh(0);
    }
    if (told.stopped) {
      heard.close();
      return ended("The server was stopped.");
    }
    if (told.files) return refresh(0);
    // findings that came between page and connection
    if (told.judged && !told.findings && told.judged !== state.data.judged) return refresh(0);
    // exact edges and masses that did
    const { version, stage } = state.data;
    if (told.version === version && (told.stage > stage || (told.weighed && state.data.textsOf !== version)))
      return refresh(version);
    if (told.making !== undefined) {
      state.data.making = told.making;
      if (told.made) live.made = told.made;
      standing();
    }
    if (told.strength !== undefined) {
      live.straining = false;
      live.strength = told;
      if (told.of === state.data.version) state.data.strength = told.strength;
      strengthCame();
    }
    if (told.trouble) {
      live.trouble = told;
      tally();
    }
    if (told.bodies) return bodies(told);
    if (told.texts) return texts(told);
    if (told.findings) judged(told);
    if (told.version > state.data.version && !live.busy) refresh(state.data.version);
  };
  heard.onerror = () => {
    // the browser tries again by itself, but not where somebody answers who does not know this address
    if (heard.readyState === EventSource.CLOSED) ended("The server knows this address no more; its terminal tells the new one.");
    else lost(new Error("connection lost"));
  };
}

function ended(why) {
  live.stopped = true;
  write("link", `${why} What you see stays; nothing can be changed. What was not saved is lost with the server: the list below tells what it was.`);
  $("link").hidden = false;
  document.querySelectorAll("#bar .row button, #change button, #change input, #change select").forEach((b) => (b.disabled = true));
}

/** Findings of a version: a number counts those before it, which stay as they were. */
function judged(told) {
  if (told.judged <= state.data.judged) return;
  if (told.after !== state.data.judged) return refresh(0);
  const before = state.data.findings;
  state.data.findings = told.findings.map((f) => (typeof f === "number" ? before[f] : f));
  state.data.judged = told.judged;
  if (told.doors.length) state.data.doors = told.doors;
  state.findingsOld = told.judged !== state.data.version;
  state.finding = null;
  state.lit = { bodies: new Set(), points: [] };
  fillFindings();
  tally();
  fillCard();
  fillDoors();
  turnDoors();
  live.judgedAt = performance.now();
}

async function refresh(have) {
  try {
    const answer = await fetch(`state?have=${have}`);
    const data = await answer.json();
    if (data.params) {
      state.data.params = data.params;
      state.data.offered = data.offered;
      fillParams();
    }
    take(data);
  } catch (error) {
    lost(error);
  }
}

addEventListener("keydown", async (e) => {
  const save = (e.ctrlKey || e.metaKey) && e.key === "s", inBox = typing(e.target);
  const name = save ? "save" : inBox ? "" : { z: "undo", y: "redo" }[e.key];
  if (!name || e.altKey) return;
  e.preventDefault();
  if (inBox) {
    // what stands in a box counts when it is left
    e.target.blur();
    e.target.focus();
    while (live.busy) await new Promise((done) => setTimeout(done, 10));
  }
  if ($(name)?.disabled === false) act(name);
});

addEventListener("beforeunload", (e) => {
  if (live.stopped && state.data.unsaved) e.preventDefault();
});

state.started.then(() => {
  buildLive();
  state.old = !!state.data.problem;
  state.findingsOld = state.data.judged !== state.data.version;
  state.data.textsOf = textsOf(state.data);
  state.onSelect = openParams;
  state.askStrength = askStrength;
  if (viewer) viewer.coming = () => state.data.stage < WHOLE;
  fillStrength();
  fillFindings();
  standing();
  follow();
  document.body.dataset.live = "yes";
});

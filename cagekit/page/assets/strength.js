"use strict";

// How hard the tubes work under a load case: colour and pattern by band, numbers, and the shape
// that the load gives the frame, drawn many times over.

const strain = { id: "", times: 0, how: new Map() };

const strainCase = () => state.data.strength?.cases?.find((c) => c.id === strain.id);

/** Number of a body's band, from 1; 0 when it has none. */
function bandOf(body) {
  const use = strainCase()?.uses[body.id];
  if (use === undefined) return 0;
  return state.data.strength.bands.findIndex((b) => use <= b.upto) + 1;
}

const bandColour = (body) => {
  const n = bandOf(body);
  return n ? state.data.strength.bands[n - 1].colour : strainCase() ? [0.8, 0.82, 0.84] : null;
};

function showCase(id) {
  strain.id = id;
  const found = strainCase();
  strain.times = found ? found.times : 0;
  strain.how = new Map();
  for (const name of Object.keys(found ? found.shifts : {}))
    strain.how.set(name, { line: state.data.strength.lines[name], shifts: found.shifts[name] });
  fillStrength();
  bendShape();
  viewer?.ask();
}

/** Give the frame the shape of the case that is shown; ask for a picture only where that bends something anew. */
function bendShape() {
  if (viewer?.bend(strain.how, strain.times)) viewer.ask();
}

/** Data that came new: a case that is gone, or an earlier cage's, is not shown on. */
function strengthCame() {
  const shown = strain.id;
  if (!strainCase()) Object.assign(strain, { id: "", times: 0, how: new Map() });
  fillStrength();
  bendShape();
  if (shown) viewer?.ask();
}

/** Where the frame was, dashed, and how hard its hardest tubes work. */
function paintStrain(pen) {
  const found = strainCase();
  if (!found) return;
  pen.setLineDash([5, 4]);
  pen.strokeStyle = "#1d232c";
  pen.lineWidth = 1;
  if (strain.times)
    for (const line of Object.values(state.data.strength.lines)) {
      pen.beginPath();
      line.map((p) => viewer.project(p)).filter(Boolean).forEach((p, i) => (i ? pen.lineTo(...p) : pen.moveTo(...p)));
      pen.stroke();
    }
  pen.setLineDash([]);
  const taken = [];
  for (const [id, use] of hardest(found).slice(0, 6)) {
    const { line, shifts } = strain.how.get(id) || {};
    if (!line) continue;
    const k = line.length >> 1, at = viewer.project(add(line[k], scale(shifts[k], strain.times)));
    // of two that would lie on each other the harder tube's; the list has all
    if (!at || taken.some(([x, y]) => Math.abs(x - at[0]) < 44 && Math.abs(y - at[1]) < 21)) continue;
    taken.push(at);
    label(pen, at, use.toFixed(2));
  }
}

const hardest = (found) => Object.entries(found.uses).sort((a, b) => b[1] - a[1]);

function fillStrength() {
  const made = state.data.strength, box = inside("strength");
  $("strength").hidden = !made && !state.askStrength;
  if ($("strength").hidden) return;
  if (!made) return box.replaceChildren(...state.askStrength());
  if (made.problem) return box.replaceChildren(el("p", {}, made.problem));
  const found = strainCase();
  const choose = el("select", { id: "strain-case", onchange: (e) => showCase(e.target.value) },
    el("option", { value: "" }, "no case"),
    ...made.cases.map((c) => el("option", { value: c.id, selected: c.id === strain.id }, c.id === made.worst ? `${c.title} (worst)` : c.title)));
  box.replaceChildren(el("p", {}, made.caution),
    el("div", { class: "row screen" }, el("label", { for: "strain-case" }, "Case"), choose));
  for (const c of found ? [found] : made.cases)
    box.append(el("p", {}, el("strong", {}, c.title), `: ${c.about}. `, el("span", { class: "source" }, `${c.text} (${c.source})`)));
  if (!found) return;
  const out = el("output", {}, timesText());
  box.append(el("div", { class: "row screen" }, el("label", { for: "strain-times" }, "Shape"),
    el("input", { type: "range", id: "strain-times", min: 0, max: 2 * found.times, step: found.times / 50 || 1, value: strain.times,
      oninput: (e) => { strain.times = Number(e.target.value); out.value = timesText(); bendShape(); } }), out),
    el("p", {}, "Use of each tube: 1 is used up. Plates stay where they are in the picture."),
    el("div", { class: "row" }, ...made.bands.map((b, i) => {
      const swatch = el("span", { class: `swatch band-${i + 1}` });
      swatch.style.backgroundColor = `rgb(${b.colour.map((c) => Math.round(c * 255)).join(" ")})`;
      return el("span", { class: "row" }, swatch, b.words);
    })),
    el("table", {}, el("tbody", {}, ...hardest(found).map(([id, use]) => el("tr", { "data-id": id },
      el("td", {}, el("button", { type: "button", class: "plain", onclick: () => select(id, true) }, title(id))),
      el("td", { class: "number" }, use.toFixed(2)))))));
}

const timesText = () => (strain.times ? `drawn ${strain.times.toFixed(0)} times` : "as it was");

"use strict";

// Before the cage of `cagekit view` is there: the page is up and has its means to draw meanwhile.

const NOTHING = { bodies: [], edges: [], doors: [], findings: [], cards: {}, sizes: [], notes: [], eyes: [], about: "" };

/** Wait for the cage; its data, or nothing ever when there will be none: then the page tells why. */
async function cageCame(waiting) {
  const now = el("p", { id: "now", role: "status" }, "Putting the cage together ...");
  $("side").append(now);
  const fail = (text) => {
    now.className = "problem";
    now.setAttribute("role", "alert");
    write("now", text);
    return new Promise(() => {});
  };
  state.data = { ...NOTHING, ...waiting };
  showTexts();
  try {
    for (;;) {
      const { ready, problem } = await (await fetch("ready")).json();
      if (problem) return fail(`${problem}\nNothing can be shown: mend it, then start again in the terminal.`);
      if (!ready) continue;
      const data = await (await fetch("state")).json();
      now.remove();
      return { ...data, live: true };
    }
  } catch (error) {
    return fail(`The server does not answer (${error.message}). Its terminal tells why; start it again there.`);
  }
}

"use strict";

// What is shown while `cagekit view` puts the cage together; the server answers when it is there.

function fail(text) {
  const now = document.getElementById("now");
  now.className = "problem";
  now.setAttribute("role", "alert");
  now.textContent = text;
}

async function wait() {
  try {
    for (;;) {
      const { ready, problem } = await (await fetch("ready")).json();
      if (problem) return fail(`${problem}\nNothing can be shown: mend it, then start again in the terminal.`);
      if (ready) return location.reload();
    }
  } catch (error) {
    fail(`The server does not answer (${error.message}). Its terminal tells why; start it again there.`);
  }
}

wait();

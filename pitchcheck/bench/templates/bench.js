"use strict";
// The page of the bench: shows what the server tells, and hands on what is pressed. It keeps nothing itself.

const body = document.body;
const base = body.dataset.base;
const session = body.dataset.session;
const at = (id) => document.getElementById(id);

const put = (id, text) => {
  const node = at(id);
  if (node && node.textContent !== text) node.textContent = text;
};

const post = (path, form) => fetch(`${base}/${path}`, { method: "POST", body: form });

// -- a session

const MEANT = new Set(["measuring", "waiting", "hearing", "storing", "paused", "no_input", "finished"]);
let mine = false; // this page is of the session that the bench has
let live = false; // and it is listening
let told = "";

function showStage(stage) {
  mine = stage !== null && stage.session === session;
  if (!at("stage")) return;
  live = mine && (stage.stage === "opening" || stage.stage === "listening");
  at("stage").classList.toggle("live", live);
  at("begin").hidden = live;
  at("stop").hidden = !live;
  at("buttons").hidden = !live;
  at("heard").hidden = !live;
  if (!mine || stage.stage === "listening") return;
  const words = {
    opening: ["Opening the input", "Everything that is played from now on is heard."],
    ended: ["Measured", "What was found and what to do stands below, under “The nut so far”. Listen goes on with it."],
    stopped: ["Stopped", "What was taken is kept. Listen goes on with it."],
    fault: ["It cannot go on", ""],
  }[stage.stage] || ["Not listening", ""];
  prompt(words[0], "");
  put("hint", words[1]);
  put("said", stage.words);
  put("notes", "");
  hands(null, null);
  say(`${words[0]}. ${stage.words || words[1]}`);
}

function prompt(text, flash) {
  const box = at("prompt-box");
  box.classList.toggle("taken", flash === "taken");
  box.classList.toggle("again", flash === "again");
  const shown = flash ? (flash === "taken" ? "Taken" : "Again") : text;
  put("prompt", shown);
  at("prompt").classList.toggle("long", shown.length > 30);
}

function say(text) {
  if (text === told) return;
  told = text;
  put("told", text);
}

function showScene(scene) {
  if (!live || scene === null || !at("stage") || !MEANT.has(scene.phase)) return;
  prompt(scene.prompt, scene.flash);
  put("hint", scene.hint);
  put("said", scene.said);
  put("notes", scene.notes);
  put("progress", scene.progress);
  at("pause").firstChild.textContent = scene.phase === "paused" ? "Go on " : "Pause ";
  hands(scene.hands, scene.fret);
  if (at("other-takes")) at("other-takes").hidden = scene.taken > 0;
  map(scene.map);
  if (!scene.flash) say(`${scene.said} ${scene.prompt}. ${scene.hint}`.trim());
}

function hands(name, fret) {
  for (const drawing of document.querySelectorAll("[data-hands]")) {
    const on = drawing.dataset.hands === name;
    drawing.toggleAttribute("hidden", !on);
    if (!on || fret === null) continue;
    for (const number of drawing.querySelectorAll("[data-fret]")) number.textContent = fret;
    for (const where of drawing.querySelectorAll("[data-behind]"))
      where.textContent = fret === 1 ? "between nut and fret 1" : `between fret ${fret - 1} and fret ${fret}`;
  }
}

let mapped = "";
function map(rows) {
  const key = JSON.stringify(rows);
  if (key === mapped) return;
  mapped = key;
  const lanes = rows.map((row) => {
    const lane = document.createElement("p");
    lane.className = "lane";
    const label = document.createElement("b");
    label.textContent = row.label;
    lane.append(label);
    for (const take of row.takes) {
      const cell = document.createElement("span");
      cell.className = `cell ${take.state}`;
      cell.textContent = take.name;
      const words = document.createElement("span");
      words.className = "unseen";
      words.textContent = ` ${take.state.replace("-", " ")}`;
      cell.append(words);
      lane.append(cell);
    }
    return lane;
  });
  at("map").replaceChildren(...lanes);
}

const LEFT = 46, RIGHT = 590, MIDDLE = 75, HALF = 65, SPAN_S = 2, FROM_DB = -80;

function showLive(heard) {
  if (!at("heard") || !mine) return;
  heard = heard || { level: FROM_DB, word: "", trace: [] };
  at("level").style.transform = `scaleX(${Math.min(1, (heard.level - FROM_DB) / -FROM_DB)})`;
  put("level-word", heard.word);
  put("level-db", heard.word ? `${heard.level.toFixed(0)} dB`.replace("-", "−") : "");
  const most = Math.max(20, ...heard.trace.map((point) => Math.abs(point[1])));
  const span = Math.min(200, Math.ceil(most / 20) * 20);
  put("trace-top", `+${span}`);
  put("trace-low", `−${span}`);
  const points = heard.trace.map(([seconds, cents]) => [
    LEFT + ((RIGHT - LEFT) * Math.min(seconds, SPAN_S)) / SPAN_S,
    MIDDLE - HALF * Math.max(-1, Math.min(1, cents / span)),
  ]);
  at("trace-line").setAttribute("d", points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join(""));
  const last = heard.trace.at(-1);
  put("trace-last", last ? `${last[1] > 0 ? "+" : "−"}${Math.abs(last[1]).toFixed(1)}` : "");
  if (points.length) at("trace-last").setAttribute("y", (points.at(-1)[1] + 4).toFixed(0));
  window.lastLive = performance.timeOrigin + performance.now();
}

async function showNut(count) {
  if (!count || !mine || !at("nut")) return;
  const answer = await fetch(`${base}/session/${encodeURIComponent(session)}/nut`);
  const text = await answer.text();
  if (text.trim()) at("nut").innerHTML = text;
}

// -- the input, tried

function showTry(state) {
  const node = at("tried");
  if (!node || state === null) return;
  node.replaceChildren(
    ...state.said.map((line) => {
      const words = document.createElement("p");
      words.textContent = line;
      return words;
    }),
  );
  at("try").disabled = !state.done;
}

// -- news of the server

const SHOW = { stage: showStage, scene: showScene, live: showLive, nut: showNut, input: showTry };
const kept = {};

if (at("stage") || at("try")) {
  const events = new EventSource(`${base}/events`);
  for (const [name, show] of Object.entries(SHOW)) {
    events.addEventListener(name, (event) => {
      kept[name] = JSON.parse(event.data);
      show(kept[name]);
      if (name === "stage") for (const other of ["scene", "live", "nut"]) if (other in kept) SHOW[other](kept[other]);
    });
  }
  events.addEventListener("error", () => {
    if (mine) put("notes", "The bench does not answer. If it was ended, start it again: every accepted take is kept.");
  });
  addEventListener("pagehide", () => events.close());
}

// -- what is pressed

const press = (name) => {
  const form = new FormData();
  form.append("key", name);
  return post(`session/${encodeURIComponent(session)}/press`, form);
};

for (const button of document.querySelectorAll("[data-press]"))
  button.addEventListener("click", () => press(button.dataset.press));

const KEYS = { s: "skip", r: "redo", p: "pause", u: "undo", f: "finish" };
addEventListener("keydown", (event) => {
  const typing = event.target.closest("input:not([type=checkbox]), textarea, select");
  if (typing || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (!at("shortcuts") || !at("shortcuts").checked || at("buttons").hidden) return;
  if (event.key in KEYS) press(KEYS[event.key]);
  if (event.key === "g") {
    at("what").focus();
    event.preventDefault();
  }
});

const gauge = at("gauge");
if (gauge)
  gauge.addEventListener("submit", async (event) => {
    event.preventDefault();
    const answer = await fetch(gauge.action, { method: "POST", body: new FormData(gauge) });
    const said = (await answer.json()).said;
    put("gauge-said", said);
    if (!answer.ok) return;
    for (const id of ["value", "passes", "stops"]) at(id).value = "";
    document.querySelectorAll("[data-fetch]").forEach(piece); // it is weighed at once
  });

if (at("try"))
  at("try").addEventListener("click", async () => {
    at("try").disabled = true;
    const answer = await post("try", new FormData());
    const said = (await answer.json()).said;
    if (said) showTry({ said: [said], done: true });
  });

// -- pieces that take a while

function piece(node) {
  fetch(node.dataset.fetch)
    .then((answer) => (answer.ok ? answer.text() : Promise.reject(answer.status)))
    .then((text) => (node.innerHTML = text))
    .catch(() => (node.textContent = "It could not be worked out. Load the page again."));
}
document.querySelectorAll("[data-fetch]").forEach(piece);

for (const form of document.querySelectorAll("[data-busy]"))
  form.addEventListener("submit", () => (form.querySelector(".busy").textContent = form.dataset.busy));

// -- recordings dropped

const drop = at("drop");
if (drop) {
  drop.addEventListener("submit", () => put("busy", "Listening to it; this takes about a minute."));
  addEventListener("dragover", (event) => {
    event.preventDefault();
    body.classList.add("dropping");
  });
  addEventListener("dragleave", () => body.classList.remove("dropping"));
  addEventListener("drop", (event) => {
    event.preventDefault();
    body.classList.remove("dropping");
    if (!event.dataTransfer.files.length) return;
    at("files").files = event.dataTransfer.files;
    const name = at("memo-name");
    if (!name.value) name.value = event.dataTransfer.files[0].name.replace(/\.[^.]*$/, "").replace(/[^A-Za-z0-9 ._-]+/g, "-").slice(0, 50);
    name.focus();
    drop.scrollIntoView();
  });
}

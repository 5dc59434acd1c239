// One take: choose a phrase, hear it, see why it is labelled so.

const take = JSON.parse(document.getElementById("take").textContent);
const byId = (id) => document.getElementById(id);
const TAIL_S = 0.12; // a last note rings on a little; cut at its end it sounds chopped
const SKIP_S = 5;

const media = byId("media");
const list = byId("phrases");
const rows = list ? [...list.querySelectorAll("button")] : [];
let chosen = -1;
let until = null; // where a phrase that plays ends; null while the take plays on

const wave = WaveSurfer.create({
  container: byId("wave"),
  media,
  peaks: [outlineOf(take)],
  duration: take.duration,
  height: 76,
  normalize: true,
  barWidth: 2,
  barGap: 1,
  cursorWidth: 2,
  dragToSeek: true,
  autoCenter: !matchMedia("(prefers-reduced-motion: reduce)").matches,
});
const stage = new Stage(take, wave);

function clock(time) {
  const whole = Math.floor(time + 1e-6), s = String(whole % 60).padStart(2, "0"), m = Math.floor(whole / 60);
  return m < 60 ? `${m}:${s}` : `${Math.floor(m / 60)}:${String(m % 60).padStart(2, "0")}:${s}`;
}

function tell(words) { byId("told").textContent = words; }

// ---- playing ----

const playing = () => !media.paused && !media.ended;
const after = () => document.querySelector('input[name="after"]:checked').value;

async function start() {
  try {
    await media.play();
  } catch (problem) {
    if (problem.name !== "AbortError" && !media.error) tell("The browser did not start to play; press Play once more.");
  }
}

function endOf(index) {
  const next = take.phrases[index + 1];
  return Math.min(take.phrases[index].end + TAIL_S, next ? Math.max(next.start, take.phrases[index].end) : take.duration);
}

function playPhrase(index) {
  choose(index);
  until = after() === "on" ? null : endOf(index);
  media.currentTime = take.phrases[index].start;
  tell(`Phrase ${index + 1}: ${take.phrases[index].words}`);
  start();
}

function toggle() {
  if (playing()) { media.pause(); return; }
  const here = chosen >= 0 ? take.phrases[chosen] : null;
  const inside = here && media.currentTime >= here.start - 0.01 && media.currentTime < endOf(chosen) - 0.01;
  if (after() === "on" || !here || !inside) until = null; else until = endOf(chosen);
  start();
}

function phraseIsOver() {
  const next = neighbour(chosen, 1);
  if (after() === "again") media.currentTime = take.phrases[chosen].start;
  else if (after() === "next" && next >= 0) playPhrase(next);
  else { media.pause(); until = null; }
}

wave.on("timeupdate", (time) => {
  if (until !== null && time >= until && playing()) { phraseIsOver(); return; }
  if (until === null && playing()) {
    const here = stage.phraseAt(time);
    if (here >= 0 && here !== chosen) choose(here);
  }
  byId("where").value = time;
  byId("where").setAttribute("aria-valuetext", `${clock(time)} of ${clock(take.duration)}${chosen >= 0 ? `, phrase ${chosen + 1}` : ""}`);
  byId("clock").textContent = `${clock(time)} / ${clock(take.duration)}`;
});
for (const event of ["play", "pause", "ended"]) {
  media.addEventListener(event, () => { byId("play").textContent = playing() ? "Pause" : "Play"; });
}
media.addEventListener("ended", () => { if (until !== null && chosen >= 0) phraseIsOver(); });

// ---- choosing ----

function choose(index) {
  if (chosen >= 0 && rows[chosen]) { rows[chosen].removeAttribute("aria-current"); rows[chosen].tabIndex = -1; }
  chosen = index;
  stage.chosen = index;
  const row = rows[index];
  if (row) {
    row.setAttribute("aria-current", "true");
    for (const other of rows) if (other.tabIndex === 0 && other !== row) other.tabIndex = -1;
    row.tabIndex = 0;
  }
  explain(index);
  stage.draw();
}

/** Return the next shown phrase in a direction, -1 if there is none. */
function neighbour(index, step) {
  let next = index + step;
  while (next >= 0 && next < take.phrases.length && !stage.shown[next]) next += step;
  return next >= 0 && next < take.phrases.length ? next : -1;
}

function playNeighbour(step) {
  let from = chosen;
  if (from < 0) from = step > 0 ? firstAfter(stage.starts, media.currentTime) - 1 : firstAfter(stage.starts, media.currentTime);
  const next = neighbour(from, step);
  if (next < 0) { tell(step > 0 ? "That was the last phrase." : "That was the first phrase."); return; }
  playPhrase(next);
  rows[next].scrollIntoView({ block: "nearest" });
  if (list.contains(document.activeElement)) rows[next].focus({ preventScroll: true });
}

function explain(index) {
  const phrase = take.phrases[index], target = byId("says-list");
  byId("says-head").textContent = `Phrase ${index + 1}`;
  target.replaceChildren(...phrase.says.flatMap(([what, words]) => {
    const term = document.createElement("dt"), text = document.createElement("dd");
    term.textContent = what;
    text.textContent = words;
    return [term, text];
  }));
  lodge();
}

// Where there is no room beside the list, what is behind the labels stands under the chosen phrase.
const narrow = matchMedia("(max-width: 52rem)"), says = byId("says"), home = says?.parentElement;
function lodge() {
  const place = narrow.matches && chosen >= 0 ? rows[chosen].parentElement : home;
  if (says.parentElement !== place) place.append(says);
}
narrow.addEventListener("change", () => { if (says) lodge(); });

for (const [index, row] of rows.entries()) {
  row.addEventListener("click", () => (index === chosen && playing() ? media.pause() : playPhrase(index)));
}
if (list) {
  list.addEventListener("keydown", (event) => {
    const at = rows.indexOf(document.activeElement);
    const to = {
      ArrowDown: () => neighbour(at, 1), ArrowUp: () => neighbour(at, -1),
      Home: () => neighbour(-1, 1), End: () => neighbour(rows.length, -1),
    }[event.key]?.();
    if (at < 0 || to === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    if (to < 0) return;
    for (const other of [rows[at], rows[to]]) other.tabIndex = other === rows[to] ? 0 : -1;
    rows[to].focus();
  });
}
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
  if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
    event.preventDefault();
    playNeighbour(event.key === "ArrowRight" ? 1 : -1);
  } else if (event.key === " " && !event.target.closest("button, a, summary")) {
    event.preventDefault();
    toggle();
  }
});

byId("play").addEventListener("click", toggle);
byId("before").addEventListener("click", () => playNeighbour(-1));
byId("next").addEventListener("click", () => playNeighbour(1));
byId("where").addEventListener("input", (event) => { until = null; media.currentTime = Number(event.target.value); });
byId("speed").addEventListener("change", (event) => { media.playbackRate = Number(event.target.value); });
for (const choice of document.querySelectorAll('input[name="after"]')) {
  choice.addEventListener("change", () => {
    until = choice.value === "on" || chosen < 0 || stage.phraseAt(media.currentTime) !== chosen ? null : endOf(chosen);
  });
}

// ---- the stage ----

for (const id of ["blocks", "contour"]) {
  byId(id).addEventListener("click", (event) => {
    const time = stage.timeAt(event.offsetX), index = stage.phraseAt(time);
    if (index >= 0) playPhrase(index); else { until = null; media.currentTime = Math.max(0, Math.min(time, take.duration)); }
  });
}
wave.on("interaction", (time) => {
  until = null;
  const index = stage.phraseAt(time);
  if (index >= 0) { choose(index); if (after() !== "on") until = endOf(index); }
});
let drawn = 0;
function redraw() {
  if (!drawn) drawn = requestAnimationFrame(() => { drawn = 0; stage.draw(); });
}
for (const event of ["scroll", "redraw", "redrawcomplete", "resize"]) wave.on(event, redraw);

let zoom = 1;
function zoomTo(factor) {
  const fits = wave.getWidth() / take.duration;
  zoom = Math.max(1, Math.min(factor, Math.max(1, 400 / fits)));
  wave.zoom(zoom === 1 ? 0 : fits * zoom);
  const centre = chosen >= 0 ? take.phrases[chosen].start : media.currentTime;
  wave.setScroll(centre * fits * zoom - wave.getWidth() / 4);
  byId("wider").disabled = zoom === 1;
  byId("closer").disabled = fits * zoom >= 399;
  redraw();
}
byId("closer").addEventListener("click", () => zoomTo(zoom * 2));
byId("wider").addEventListener("click", () => zoomTo(zoom / 2));

function paint() {
  const style = getComputedStyle(document.documentElement), colour = (name) => style.getPropertyValue(`--${name}`).trim();
  wave.setOptions({ waveColor: colour("wave"), progressColor: colour("passed"), cursorColor: colour("ink") });
  redraw();
}
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", paint);

// ---- filters ----

const filters = [...document.querySelectorAll("#filters input")];
function filter() {
  const wanted = Object.fromEntries(filters.filter((box) => box.checked).map((box) => [box.name, box.value]));
  let count = 0;
  take.phrases.forEach((phrase, i) => {
    stage.shown[i] = Object.entries(wanted).every(([name, value]) => value === "any" || phrase[`is_${name}`] === value);
    rows[i].parentElement.hidden = !stage.shown[i];
    count += stage.shown[i];
  });
  byId("count").textContent = count === rows.length ? `All ${count} phrases` : `${count} of ${rows.length} phrases`;
  const reachable = rows.find((row, i) => stage.shown[i] && row.tabIndex === 0) ?? rows.find((_, i) => stage.shown[i]);
  for (const row of rows) row.tabIndex = row === reachable ? 0 : -1;
  redraw();
}
for (const box of filters) box.addEventListener("change", filter);

// ---- the recording, or the notes ----

let address = null;
function hearTones() {
  address ??= URL.createObjectURL(tonesOf(take.notes, take.duration));
  change(address);
  byId("tones").checked = true;
}
function change(source) {
  const at = media.currentTime, speed = media.playbackRate, was = playing();
  media.src = source;
  media.currentTime = at;
  media.playbackRate = speed;
  if (was) start();
}
function missing() {
  if (media.src.startsWith("blob:") && media.src === address) return;
  byId("missing").hidden = false;
  tell("The recording cannot be played.");
}
media.addEventListener("error", missing);
if (media.error || media.networkState === HTMLMediaElement.NETWORK_NO_SOURCE) missing();
const canTone = take.notes.on.length > 0 && take.duration <= MOST_TONES_S;
byId("tones").disabled = !canTone;
if (byId("hear-notes")) byId("hear-notes").disabled = !canTone;
byId("hear-notes")?.addEventListener("click", () => { hearTones(); byId("missing").hidden = true; });
byId("tones").addEventListener("change", hearTones);
byId("recording").addEventListener("change", () => { if (chosenFile ?? take.recording) change(chosenFile ?? take.recording); });
let chosenFile = null;
byId("choose")?.addEventListener("change", (event) => {
  if (!event.target.files.length) return;
  chosenFile = URL.createObjectURL(event.target.files[0]);
  byId("missing").hidden = true;
  byId("recording").disabled = false;
  byId("recording").checked = true;
  change(chosenFile);
  tell(`Plays ${event.target.files[0].name}.`);
});
if (!take.recording && canTone) hearTones();

// ---- beginning ----

paint();
if (rows.length) {
  filter();
  const asked = /^#phrase-(\d+)$/.exec(location.hash);
  const first = asked ? Math.min(Math.max(Number(asked[1]), 1), rows.length) - 1 : 0;
  choose(first);
  if (asked) media.currentTime = take.phrases[first].start;
}
byId("clock").textContent = `0:00 / ${clock(take.duration)}`;
byId("wider").disabled = true;
document.documentElement.dataset.ready = "yes";

// One take: choose a phrase, hear it, see why it is labelled so.

const take = JSON.parse(byId("take").textContent);
const SLIP_PX = 5; // that a hand moves while it only clicks
const SKIP_S = 5; // that an arrow key moves the place in the take
const CLOSEST_PX_PER_S = 400; // a note of a tenth of a second is as wide as a finger
const MOST_STEPS = 6; // from all of a take to its closest view, be it hours long
const stillness = matchMedia("(prefers-reduced-motion: reduce)");

function tell(words) { byId("told").textContent = words; }

const media = byId("media");
const wave = WaveSurfer.create({
  container: byId("wave"),
  media,
  peaks: [outlineOf(take)],
  duration: take.duration,
  height: 76,
  barWidth: 2,
  barGap: 1,
  cursorWidth: 2,
  dragToSeek: true,
  autoCenter: !stillness.matches,
});
wave.getWrapper().parentElement.tabIndex = -1; // it scrolls, but what it shows is reached by phrase and by time
const stage = new Stage(take, wave);
const player = new Player(take, media, {
  chose,
  following: (index) => (list ? list.neighbour(index, 1) : -1),
  refused,
});
const list = take.phrases.length ? new PhraseList(take.phrases, { play, player, listed }) : null;
const source = new Source(take, media, { start: () => player.start(), tell });

// ---- choosing and playing ----

function chose(index) {
  list.choose(index);
  stage.chosen = index;
  stage.drawPhrases();
}

function play(index) {
  player.playPhrase(index);
  tell(`Phrase ${index + 1}: ${take.phrases[index].words}`);
}

function playNeighbour(step) {
  const next = list ? list.neighbour(from(step), step) : -1;
  if (next < 0) { tell(step > 0 ? "That was the last phrase." : "That was the first phrase."); return; }
  play(next);
  list.follow(next);
}

/** Return where neighbours are counted from: the chosen phrase, or the place in the take if that was moved away. */
function from(step) {
  if (!player.isAstray) return player.chosen;
  const later = firstAfter(stage.starts, media.currentTime);
  return step > 0 ? later - 1 : later;
}

function refused() {
  if (media.error) byId("missing").scrollIntoView({ block: "nearest" });
  else tell("The browser did not start to play; press Play once more.");
}

function listed() {
  stage.shown = list.shown;
  stage.drawPhrases();
}

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
  const field = event.target.closest("input, select, textarea");
  if (field && !(event.key === " " && hasNoUseForSpace(field))) return;
  if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
    event.preventDefault();
    playNeighbour(event.key === "ArrowRight" ? 1 : -1);
  } else if (event.key === " " && !event.target.closest("button, a, summary")) {
    event.preventDefault();
    if (!event.repeat) player.toggle();
  }
});
/** Space does nothing to a slider or a chosen radio button: who has just used one wants to play or pause. */
function hasNoUseForSpace(field) { return field.type === "range" || (field.type === "radio" && field.checked); }

byId("play").addEventListener("click", () => player.toggle());
byId("before").addEventListener("click", () => playNeighbour(-1));
byId("next").addEventListener("click", () => playNeighbour(1));
byId("speed").addEventListener("change", setSpeed);
for (const choice of document.querySelectorAll('input[name="after"]')) {
  choice.addEventListener("change", () => player.setAfter(choice.value));
}
for (const event of ["play", "pause", "ended"]) {
  media.addEventListener(event, () => { byId("play").textContent = player.playing ? "Pause" : "Play"; });
}

/** Set the rate, for what is loaded and for what will be. */
function setSpeed() { media.defaultPlaybackRate = media.playbackRate = Number(byId("speed").value); }

// ---- the place in the take ----

const where = byId("where");
where.addEventListener("input", () => goTo(Number(where.value)));
where.addEventListener("keydown", (event) => {
  const step = { ArrowRight: SKIP_S, ArrowUp: SKIP_S, ArrowLeft: -SKIP_S, ArrowDown: -SKIP_S }[event.key];
  if (step === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault(); // its own step is a hundredth of a second, for the pointer
  goTo(media.currentTime + step);
});

/** Go somewhere and say so at once: whoever hears the place read cannot wait for the browser to get there. */
function goTo(time) {
  media.currentTime = Math.max(0, Math.min(time, take.duration));
  player.standIn(stage.phraseAt(media.currentTime));
  showTime(media.currentTime);
}

let shownTime = "";
function showTime(time) {
  where.value = time;
  const words = `${clock(time)} / ${clock(take.duration)}`;
  if (words === shownTime) return; // told once a second, not with every frame
  shownTime = words;
  byId("clock").textContent = words;
  where.setAttribute("aria-valuetext", `${clock(time)} of ${clock(take.duration)}`);
}
wave.on("timeupdate", (time) => {
  player.passes(time, stage.phraseAt(time));
  showTime(media.currentTime);
});
wave.on("interaction", (time) => player.standIn(stage.phraseAt(time)));
for (const id of ["blocks", "contour"]) {
  const wasMoved = movable(byId(id));
  byId(id).addEventListener("click", (event) => {
    if (wasMoved()) return;
    const time = stage.timeAt(event.offsetX), index = stage.phraseAt(time);
    if (index >= 0) play(index); else goTo(time);
  });
}

/** Stand at the phrase that the page's address asks for, as ``#phrase-3`` does. */
function goToAsked() {
  const asked = /^#phrase-(\d{1,9})$/.exec(location.hash);
  if (!asked) return;
  const index = Math.min(Math.max(Number(asked[1]), 1), take.phrases.length) - 1;
  goTo(take.phrases[index].start);
  player.standIn(index);
  list.follow(index);
}

// ---- what is in view ----

let isDue = false;
function redraw() {
  if (isDue) return;
  isDue = true;
  requestAnimationFrame(() => { isDue = false; stage.draw(); });
}
for (const event of ["scroll", "redraw", "redrawcomplete", "resize"]) wave.on(event, redraw);

/** Let a close view be moved by hand or wheel; return what tells whether the last press was a move. */
function movable(canvas) {
  let held = null, moved = false;
  canvas.addEventListener("pointerdown", (event) => {
    held = event.isPrimary && event.button === 0 ? { x: event.clientX, scroll: wave.getScroll() } : null;
    moved = false;
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held || zoom === 1) return;
    const by = event.clientX - held.x;
    if (!moved && Math.abs(by) < SLIP_PX) return;
    if (!moved) canvas.setPointerCapture(event.pointerId); // from now on: a click keeps its place
    moved = true;
    wave.setScroll(held.scroll - by);
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { held = null; });
  canvas.addEventListener("wheel", (event) => {
    const by = event.deltaX || (event.shiftKey ? event.deltaY : 0);
    if (!by || zoom === 1) return;
    event.preventDefault();
    wave.setScroll(wave.getScroll() + by);
  }, { passive: false });
  return () => moved;
}

let zoom = 1;
function zoomTo(factor) {
  const fits = wave.getWidth() / take.duration;
  zoom = Math.max(1, Math.min(factor, CLOSEST_PX_PER_S / fits));
  if (zoom < 1.01) zoom = 1; // steps back need not end where those there began
  wave.zoom(zoom === 1 ? 0 : fits * zoom);
  const isAtPlace = player.isAstray || player.chosen < 0 || player.isIn(player.chosen);
  const centre = isAtPlace ? media.currentTime : take.phrases[player.chosen].start;
  wave.setScroll(centre * fits * zoom - wave.getWidth() / 4);
  byId("wider").disabled = zoom === 1;
  byId("closer").disabled = fits * zoom > CLOSEST_PX_PER_S - 1;
  redraw();
}

/** Return how many times closer a step leads: twice, or more where all of the take is far away. */
function zoomStep() {
  return Math.max(2, ((CLOSEST_PX_PER_S * take.duration) / wave.getWidth()) ** (1 / MOST_STEPS));
}
byId("closer").addEventListener("click", () => zoomTo(zoom * zoomStep()));
byId("wider").addEventListener("click", () => zoomTo(zoom / zoomStep()));

function paint() {
  stage.takeColours();
  const { wave: waveColor, passed: progressColor, ink: cursorColor } = stage.colours;
  wave.setOptions({ waveColor, progressColor, cursorColor });
  redraw();
}
for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) matchMedia(query).addEventListener("change", paint);
stillness.addEventListener("change", () => wave.setOptions({ autoCenter: !stillness.matches }));

// ---- beginning ----

paint();
stage.draw();
if (list) {
  player.choose(0);
  list.filter();
  goToAsked();
  addEventListener("hashchange", goToAsked);
}
showTime(media.currentTime);
byId("wider").disabled = true;

// A browser may bring back what was chosen before the page was left or loaded again. The tones of a take without
// a recording, too, are made only here: the page is seen before.
addEventListener("pageshow", (event) => {
  if (event.persisted) return;
  player.setAfter(document.querySelector('input[name="after"]:checked').value);
  setSpeed();
  list?.filter();
  source.takeUp();
});
document.documentElement.dataset.ready = "yes";

// The picture over time: phrases as blocks, bands through the waveform, the notes' pitches on the beat grid.
// Only what is in view is drawn, so that three hours are no slower than a minute.

const BLOCK_PADDING = 6;
const NUMBER_HEIGHT = 18;
const LEAN = 0.34; // of a block's height
const AXIS_WIDTH = 30;
const PITCHES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const LEAST_BEAT_PX = 7; // closer beats are a grey that says nothing
const LEAST_BAR_NUMBER_PX = 34;

/** Return the index of the first of the rising numbers that is greater than the value. */
function firstAfter(numbers, value) {
  let low = 0, high = numbers.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (numbers[middle] > value) high = middle; else low = middle + 1;
  }
  return low;
}

class Stage {
  constructor(take, wave) {
    this.take = take;
    this.wave = wave;
    this.starts = take.phrases.map((phrase) => phrase.start);
    this.chosen = -1;
    this.shown = take.phrases.map(() => true);
    this.pens = Object.fromEntries(
      ["blocks", "bands", "contour"].map((id) => [id, document.getElementById(id).getContext("2d")])
    );
    const low = Math.floor(take.notes.pitch.reduce((a, b) => Math.min(a, b), 127));
    const high = Math.ceil(take.notes.pitch.reduce((a, b) => Math.max(a, b), 0));
    this.pitches = take.notes.pitch.length ? [low - 2, high + 2] : [57, 72];
    this.longest = take.notes.on.reduce((a, on, i) => Math.max(a, take.notes.off[i] - on), 0);
    this.longestPhrase = take.phrases.reduce((a, p) => Math.max(a, p.end - p.start), 0);
  }

  /** Return the time under a place on the stage. */
  timeAt(x) { return this.from + x / this.perS; }

  /** Return the phrase that sounds at a time, -1 if none does. */
  phraseAt(time) {
    const at = firstAfter(this.starts, time) - 1;
    return at >= 0 && time <= this.take.phrases[at].end ? at : -1;
  }

  draw() {
    const style = getComputedStyle(document.documentElement);
    this.colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const wrapper = this.wave.getWrapper();
    this.width = this.wave.getWidth();
    this.perS = wrapper.clientWidth / this.take.duration;
    this.from = this.wave.getScroll() / this.perS;
    this.until = this.from + this.width / this.perS;
    for (const pen of Object.values(this.pens)) this.fit(pen);
    this.drawBands();
    this.drawBlocks();
    this.drawContour();
  }

  fit(pen) {
    const { canvas } = pen;
    const ratio = window.devicePixelRatio || 1;
    const height = canvas.id === "bands" ? canvas.parentElement.clientHeight : canvas.clientHeight;
    canvas.style.width = `${this.width}px`;
    canvas.width = Math.round(this.width * ratio);
    canvas.height = Math.round(height * ratio);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, this.width, height);
    pen.tall = height;
    pen.font = '12px system-ui, sans-serif';
  }

  x(time) { return (time - this.from) * this.perS; }

  /** Call with each phrase in view. */
  eachInView(draw) {
    const first = Math.max(0, firstAfter(this.starts, this.from - this.longestPhrase) - 1);
    const last = firstAfter(this.starts, this.until);
    for (let i = first; i < last; i++) if (this.take.phrases[i].end >= this.from) draw(this.take.phrases[i], i);
  }

  drawBands() {
    const pen = this.pens.bands;
    this.eachInView((phrase, i) => {
      if (!this.shown[i]) return;
      pen.fillStyle = this.colour(i === this.chosen ? "chosen" : "band");
      pen.fillRect(this.x(phrase.start), 0, Math.max(1, (phrase.end - phrase.start) * this.perS), pen.tall);
    });
  }

  drawBlocks() {
    const pen = this.pens.blocks;
    const floor = pen.tall - BLOCK_PADDING;
    let free = -Infinity;
    this.eachInView((phrase, i) => {
      const left = this.x(phrase.start), width = Math.max(2, (phrase.end - phrase.start) * this.perS);
      const height = Math.max(4, phrase.height * (floor - NUMBER_HEIGHT));
      this.block(phrase, left, width, floor, height, this.shown[i] ? 1 : 0.25);
      const number = `${i + 1}`, wide = pen.measureText(number).width + 6;
      if (left < free && i !== this.chosen) return;
      pen.globalAlpha = this.shown[i] ? 1 : 0.45;
      pen.fillStyle = this.colour(i === this.chosen ? "ink" : "faint");
      pen.font = `${i === this.chosen ? "bold " : ""}12px system-ui, sans-serif`;
      pen.fillText(number, Math.max(2, left), 13);
      pen.globalAlpha = 1;
      free = left + wide;
    });
    pen.fillStyle = this.colour("edge");
    pen.fillRect(0, floor, this.width, 1);
  }

  block(phrase, left, width, floor, height, strength) {
    const pen = this.pens.blocks;
    const lean = phrase.groove === "against" ? Math.min(LEAN * height, width / 2) : 0;
    pen.beginPath();
    pen.moveTo(left, floor);
    pen.lineTo(left + lean, floor - height);
    pen.lineTo(left + width, floor - height);
    pen.lineTo(left + width - lean, floor);
    pen.closePath();
    pen.fillStyle = pen.strokeStyle = this.colour(phrase.groove);
    pen.globalAlpha = strength * (phrase.dense ? 1 : 0.22);
    pen.fill();
    pen.globalAlpha = strength;
    pen.setLineDash(phrase.groove === "none" ? [4, 3] : []);
    pen.lineWidth = 1.5;
    pen.stroke();
    pen.setLineDash([]);
    pen.globalAlpha = 1;
  }

  drawContour() {
    const pen = this.pens.contour;
    this.drawBeats(pen);
    const [low, high] = this.pitches, { on, off, pitch, sure } = this.take.notes;
    const step = (pen.tall - 22) / (high - low);
    const y = (p) => pen.tall - 4 - (p - low) * step;
    const thick = Math.max(2.5, Math.min(6, step * 0.8));
    pen.fillStyle = this.colour("ink");
    for (let i = Math.max(0, firstAfter(on, this.from - this.longest) - 1); i < on.length && on[i] <= this.until; i++) {
      pen.globalAlpha = 0.35 + 0.65 * sure[i];
      pen.fillRect(this.x(on[i]), y(pitch[i]) - thick / 2, Math.max(1.5, (off[i] - on[i]) * this.perS - 0.5), thick);
    }
    pen.globalAlpha = 1;
    pen.fillStyle = this.colour("raised");
    pen.fillRect(0, 16, AXIS_WIDTH, pen.tall);
    pen.fillStyle = this.colour("faint");
    for (let c = Math.ceil(low / 12) * 12; c <= high; c += 12) {
      pen.fillText(`${PITCHES[c % 12]}${c / 12 - 1}`, 4, y(c) + 4);
      pen.fillRect(AXIS_WIDTH, y(c), this.width, 0.5);
    }
  }

  drawBeats(pen) {
    const beats = this.take.beats;
    if (!beats) return;
    const first = firstAfter(beats.at, this.from - 1e-9), last = firstAfter(beats.at, this.until);
    const perBeat = ((this.until - this.from) * this.perS) / Math.max(1, last - first);
    const perBar = perBeat * beats.perBar;
    let free = -Infinity;
    for (let i = first; i < last; i++) {
      const x = this.x(beats.at[i]), bar = beats.bar[i];
      if (bar === null && perBeat < LEAST_BEAT_PX) continue;
      if (bar !== null && perBar < LEAST_BEAT_PX && bar % 8 !== 1) continue;
      pen.fillStyle = this.colour(bar === null ? "line" : "edge");
      pen.fillRect(x, bar === null ? 16 : 0, 1, pen.tall);
      if (bar !== null && x > free && x < this.width - 20) {
        pen.fillStyle = this.colour("faint");
        pen.fillText(`${bar}`, x + 3, 12);
        free = x + LEAST_BAR_NUMBER_PX;
      }
    }
  }
}

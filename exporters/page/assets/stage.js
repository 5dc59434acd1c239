// The picture over time: phrases as blocks, bands through the waveform, the notes' pitches on the beat grid.
// Only what is in view is drawn, so that three hours are no slower than a minute.

const BLOCK_PADDING = 6;
const NUMBER_HEIGHT = 18;
const NUMBER_GAP = 6;
const LEAN = 0.34; // of a block's height
const PALE = 0.22; // how much colour a sparse phrase's block has
const GREYED = 0.45; // the same of a dense one whose groove is unmeasured, so that its dashes show, as in the list
const UNLISTED = 0.25; // how much is left of a block that the filter hides in the list
const FAINTEST_NOTE = 0.5; // how strong a note is drawn that was heard with no confidence at all
const OCTAVE = 12;
const HEAD_HEIGHT = 16; // of the bars' numbers
const PITCHES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const LEAST_BEAT_PX = 7; // closer beats are a grey that says nothing
const LEAST_BAR_NUMBER_PX = 34;
const FONT = "12px system-ui, sans-serif";
const COLOURS = ["ink", "faint", "line", "edge", "raised", "band", "chosen", "wave", "passed", "in", "against", "none"];

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
    const { on, off, pitch } = take.notes;
    this.pitches = pitch.length ? [Math.floor(-greatest(pitch.map((p) => -p))) - 2, Math.ceil(greatest(pitch)) + 2] : [57, 72];
    this.longestNote = greatest(on.map((time, i) => off[i] - time));
    this.longestPhrase = greatest(take.phrases.map((phrase) => phrase.end - phrase.start));
    this.takeColours();
  }

  /** Read the colours of the style sheet, which change with the system's. */
  takeColours() {
    const style = getComputedStyle(document.documentElement);
    this.colours = Object.fromEntries(COLOURS.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
  }

  /** Return the time under a place on the stage. */
  timeAt(x) { return this.from + x / this.perS; }

  x(time) { return (time - this.from) * this.perS; }

  /** Return the phrase that sounds at a time, -1 if none does. */
  phraseAt(time) {
    const at = firstAfter(this.starts, time) - 1;
    return at >= 0 && time <= this.take.phrases[at].end ? at : -1;
  }

  draw() {
    this.width = this.wave.getWidth();
    this.perS = this.wave.getWrapper().clientWidth / this.take.duration;
    this.from = this.wave.getScroll() / this.perS;
    this.until = this.from + this.width / this.perS;
    this.drawPhrases();
    this.drawContour(this.cleared("contour"));
  }

  /** Draw what depends on which phrase is chosen and which are listed: the notes do not. */
  drawPhrases() {
    this.drawBands(this.cleared("bands"));
    this.drawBlocks(this.cleared("blocks"));
  }

  /** Return an empty canvas's pen, the canvas as large as its place. */
  cleared(id) {
    const pen = this.pens[id], { canvas } = pen;
    const ratio = window.devicePixelRatio || 1;
    pen.tall = id === "bands" ? canvas.parentElement.clientHeight : canvas.clientHeight;
    const wide = Math.round(this.width * ratio), tall = Math.round(pen.tall * ratio);
    if (canvas.width !== wide || canvas.height !== tall) {
      canvas.style.width = `${this.width}px`;
      canvas.width = wide;
      canvas.height = tall;
    }
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, this.width, pen.tall);
    pen.font = FONT;
    return pen;
  }

  /** Call with each phrase in view. */
  eachInView(draw) {
    const first = Math.max(0, firstAfter(this.starts, this.from - this.longestPhrase) - 1);
    const last = firstAfter(this.starts, this.until);
    for (let i = first; i < last; i++) if (this.take.phrases[i].end >= this.from) draw(this.take.phrases[i], i);
  }

  drawBands(pen) {
    this.eachInView((phrase, i) => {
      if (!this.shown[i]) return;
      pen.fillStyle = this.colours[i === this.chosen ? "chosen" : "band"];
      pen.fillRect(this.x(phrase.start), 0, Math.max(1, (phrase.end - phrase.start) * this.perS), pen.tall);
    });
  }

  drawBlocks(pen) {
    const floor = pen.tall - BLOCK_PADDING;
    this.eachInView((phrase, i) => this.block(pen, phrase, floor, this.shown[i] ? 1 : UNLISTED));
    pen.fillStyle = this.colours.edge;
    pen.fillRect(0, floor, this.width, 1);
    this.drawNumbers(pen);
  }

  block(pen, phrase, floor, strength) {
    const left = this.x(phrase.start), width = Math.max(2, (phrase.end - phrase.start) * this.perS);
    const height = Math.max(4, phrase.height * (floor - NUMBER_HEIGHT));
    const lean = phrase.groove === "against" ? Math.min(LEAN * height, width / 2) : 0;
    pen.beginPath();
    pen.moveTo(left, floor);
    pen.lineTo(left + lean, floor - height);
    pen.lineTo(left + width, floor - height);
    pen.lineTo(left + width - lean, floor);
    pen.closePath();
    pen.fillStyle = pen.strokeStyle = this.colours[phrase.groove];
    pen.globalAlpha = strength * fillOf(phrase);
    pen.fill();
    pen.globalAlpha = strength;
    pen.setLineDash(phrase.groove === "none" ? [4, 3] : []);
    pen.lineWidth = 1.5;
    pen.stroke();
    pen.setLineDash([]);
    pen.globalAlpha = 1;
  }

  /** Write the phrases' numbers where there is room; the chosen one's always. */
  drawNumbers(pen) {
    const chosen = this.take.phrases[this.chosen];
    const keep = chosen ? this.numberSpan(pen, chosen, this.chosen) : [Infinity, -Infinity];
    let free = -Infinity;
    this.eachInView((phrase, i) => {
      const [left, right] = i === this.chosen ? keep : this.numberSpan(pen, phrase, i);
      if (i !== this.chosen && (left < free || !this.shown[i] || (left < keep[1] && right > keep[0]))) return;
      pen.font = i === this.chosen ? `bold ${FONT}` : FONT;
      pen.fillStyle = this.colours[i === this.chosen ? "ink" : "faint"];
      pen.fillText(`${i + 1}`, left, 13);
      free = right;
    });
  }

  numberSpan(pen, phrase, index) {
    pen.font = index === this.chosen ? `bold ${FONT}` : FONT;
    const wide = pen.measureText(`${index + 1}`).width;
    const left = Math.max(2, Math.min(this.x(phrase.start), this.width - wide - 2));
    return [left, left + wide + NUMBER_GAP];
  }

  drawContour(pen) {
    const [low, high] = this.pitches;
    const step = (pen.tall - HEAD_HEIGHT - NUMBER_GAP) / (high - low);
    const y = (pitch) => pen.tall - 4 - (pitch - low) * step;
    this.drawBeats(pen);
    if (!this.take.notes.on.length) return;
    this.drawPitches(pen, y);
    this.drawNotes(pen, y, Math.max(2.5, Math.min(6, step * 0.8)));
  }

  drawNotes(pen, y, thick) {
    const { on, off, pitch, sure } = this.take.notes;
    pen.fillStyle = this.colours.ink;
    const first = Math.max(0, firstAfter(on, this.from - this.longestNote) - 1);
    for (let i = first; i < on.length && on[i] <= this.until; i++) {
      pen.globalAlpha = FAINTEST_NOTE + (1 - FAINTEST_NOTE) * sure[i];
      pen.fillRect(this.x(on[i]), y(pitch[i]) - thick / 2, Math.max(1.5, (off[i] - on[i]) * this.perS - 0.5), thick);
    }
    pen.globalAlpha = 1;
  }

  /** Name each C, or the middle of a range that has none. */
  drawPitches(pen, y) {
    const [low, high] = this.pitches;
    const lowestC = Math.ceil(low / OCTAVE) * OCTAVE;
    const first = lowestC <= high ? lowestC : Math.round((low + high) / 2);
    pen.lineWidth = 3;
    pen.strokeStyle = this.colours.raised;
    pen.fillStyle = this.colours.faint;
    for (let pitch = first; pitch <= high; pitch += OCTAVE) {
      pen.fillRect(0, y(pitch), this.width, 0.5);
      if (y(pitch) < HEAD_HEIGHT + NUMBER_GAP) continue;
      const name = `${PITCHES[pitch % OCTAVE]}${Math.floor(pitch / OCTAVE) - 1}`;
      pen.strokeText(name, 4, y(pitch) + 4); // a rim, so that lines do not cross it
      pen.fillText(name, 4, y(pitch) + 4);
    }
  }

  drawBeats(pen) {
    const beats = this.take.beats;
    if (!beats) return;
    const first = firstAfter(beats.at, this.from - 1e-9), last = firstAfter(beats.at, this.until);
    const perBeat = ((this.until - this.from) * this.perS) / Math.max(1, last - first);
    const every = barsALine(perBeat * beats.perBar);
    let free = -Infinity;
    for (let i = first; i < last; i++) {
      const x = this.x(beats.at[i]), bar = beats.bar[i];
      if (bar === null && perBeat < LEAST_BEAT_PX) continue;
      if (bar !== null && every > 1 && bar % every !== 1) continue;
      pen.fillStyle = this.colours[bar === null || every > 1 ? "line" : "edge"];
      pen.fillRect(x, bar === null ? HEAD_HEIGHT : 0, 1, pen.tall);
      if (bar !== null && x > free && x + pen.measureText(`${bar}`).width + 4 < this.width) {
        pen.fillStyle = this.colours.faint;
        pen.fillText(`${bar}`, x + 3, 12);
        free = x + LEAST_BAR_NUMBER_PX;
      }
    }
  }
}

/** Return how much colour a phrase's block has. */
function fillOf(phrase) {
  if (!phrase.dense) return PALE;
  return phrase.groove === "none" ? GREYED : 1;
}

/** Return every how many bars a line is drawn: all, or where there is no room 8, 16, 32 and so on. */
function barsALine(perBarPx) {
  return perBarPx >= LEAST_BEAT_PX ? 1 : 2 ** Math.max(3, Math.ceil(Math.log2(LEAST_BEAT_PX / perBarPx)));
}

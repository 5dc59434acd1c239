// What sounds besides the recording: the notes that were heard in it, played by plain tones.

const FULL_RATE_HZ = 16000; // the third partial of E7, the highest note heard, lies below half of it
const LEAST_RATE_HZ = 4000; // below it E7 itself would be lost
const MOST_SAMPLES = 3600 * FULL_RATE_HZ; // 115 MB: an hour; a longer take has duller tones
const PARTIALS = [1, 0.35, 0.12];
const CYCLE = 4096; // steps of a stored period: fine enough that none are heard
const ATTACK_S = 0.008;
const RELEASE_S = 0.03;
const DECAY_PER_S = 1.2;
const PEAK = 9000; // of 32767: some notes may sound at once
const SOFTEST_DB = -24; // a softer note would not be heard beside the loudest
const WAV_HEADER = 44;
const OUTLINE_BIN_S = 0.01; // as fine as a recording's outline
const MOST_OUTLINE_BINS = 1 << 17;

/** Return the rate of a take's tones; null of one so long that they would not fit in memory. */
function toneRate(durationS) {
  const rate = Math.floor(Math.min(FULL_RATE_HZ, MOST_SAMPLES / durationS));
  return rate < LEAST_RATE_HZ ? null : rate;
}

/** Return the notes as a WAV file: for takes without a recording that plays, and to check what was heard. */
function tonesOf(notes, durationS) {
  const rate = toneRate(durationS);
  const count = Math.ceil((durationS + 0.2) * rate);
  const file = wavOf(count, rate);
  const samples = new Int16Array(file.buffer, WAV_HEADER); // every machine with a browser is little-endian, as WAV
  const cycles = PARTIALS.map((_, most) => cycleOf(PARTIALS.slice(0, most + 1)));
  const loudest = greatest(notes.level);
  for (let i = 0; i < notes.on.length; i++) {
    const hz = 440 * 2 ** ((notes.pitch[i] - 69) / 12);
    const partials = Math.min(PARTIALS.length, Math.floor(rate / 2 / hz)); // more would fold back
    if (partials < 1) continue;
    const peak = PEAK * 10 ** (Math.max(notes.level[i] - loudest, SOFTEST_DB) / 20);
    addTone(samples, rate, cycles[partials - 1], hz, peak, notes.on[i], notes.off[i]);
  }
  return new Blob([file.buffer], { type: "audio/wav" });
}

/** Return room for a WAV file of one channel of 16 bits, its header written. */
function wavOf(count, rate) {
  const file = new DataView(new ArrayBuffer(WAV_HEADER + 2 * count));
  const text = (at, letters) => [...letters].forEach((c, i) => file.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); file.setUint32(4, WAV_HEADER - 8 + 2 * count, true); text(8, "WAVEfmt ");
  file.setUint32(16, 16, true); file.setUint16(20, 1, true); file.setUint16(22, 1, true);
  file.setUint32(24, rate, true); file.setUint32(28, 2 * rate, true);
  file.setUint16(32, 2, true); file.setUint16(34, 16, true); text(36, "data"); file.setUint32(40, 2 * count, true);
  return file;
}

/** Return one period of a tone: looked up for each sample, ten times as quick as sines. */
function cycleOf(partials) {
  return Float32Array.from({ length: CYCLE }, (_, i) =>
    partials.reduce((sum, share, k) => sum + share * Math.sin((2 * Math.PI * (k + 1) * i) / CYCLE), 0));
}

function addTone(samples, rate, cycle, hz, peak, onS, offS) {
  const from = Math.round(onS * rate), until = Math.min(Math.round((offS + RELEASE_S) * rate), samples.length);
  const attack = ATTACK_S * rate, release = RELEASE_S * rate, fall = Math.exp(-DECAY_PER_S / rate);
  const step = (hz * CYCLE) / rate;
  for (let n = from, phase = 0, level = peak; n < until; n++, phase += step, level *= fall) {
    const shape = Math.min(1, (n - from) / attack, (until - n) / release);
    const value = samples[n] + level * shape * cycle[phase & (CYCLE - 1)];
    samples[n] = Math.max(-32767, Math.min(32767, value));
  }
}

/** Return how loud each bin is, 0 to 1: of the recording, or of the notes where there is none. */
function outlineOf(take) {
  return take.wave ? recordedOutline(take.wave, take.duration) : notedOutline(take.notes, take.duration);
}

function recordedOutline(wave, durationS) {
  const bytes = atob(wave.peaks);
  const bins = new Float32Array(Math.max(2, Math.round(durationS / wave.bin_s)));
  for (let i = 0; i < Math.min(bins.length, bytes.length); i++) bins[i] = bytes.charCodeAt(i) / 255;
  return bins;
}

function notedOutline(notes, durationS) {
  const binS = Math.max(OUTLINE_BIN_S, durationS / MOST_OUTLINE_BINS);
  const bins = new Float32Array(Math.max(2, Math.ceil(durationS / binS)));
  const loudest = greatest(notes.level);
  notes.on.forEach((on, i) => {
    const peak = 10 ** ((notes.level[i] - loudest) / 20);
    for (let bin = Math.floor(on / binS); bin < Math.min(notes.off[i] / binS, bins.length); bin++) {
      bins[bin] = Math.max(bins[bin], peak * Math.exp(-DECAY_PER_S * Math.max(0, bin * binS - on)));
    }
  });
  return bins;
}

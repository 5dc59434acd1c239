// What sounds: the recording from its own file, or the notes that were heard in it, played by plain tones.

const TONE_RATE_HZ = 16000; // the highest note heard, E7, has its third partial below half of that
const MOST_TONES_S = 3600; // an hour of tones is 115 MB; of a longer take they are not made
const PARTIALS = [1, 0.35, 0.12];
const ATTACK_S = 0.008;
const RELEASE_S = 0.03;

/** Return the notes as a WAV file: for takes without a recording that plays, and to check what was heard. */
function tonesOf(notes, durationS) {
  const count = Math.ceil((durationS + 0.2) * TONE_RATE_HZ);
  const file = new DataView(new ArrayBuffer(44 + 2 * count));
  const text = (at, letters) => [...letters].forEach((c, i) => file.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); file.setUint32(4, 36 + 2 * count, true); text(8, "WAVEfmt ");
  file.setUint32(16, 16, true); file.setUint16(20, 1, true); file.setUint16(22, 1, true);
  file.setUint32(24, TONE_RATE_HZ, true); file.setUint32(28, 2 * TONE_RATE_HZ, true);
  file.setUint16(32, 2, true); file.setUint16(34, 16, true); text(36, "data"); file.setUint32(40, 2 * count, true);
  const samples = new Int16Array(file.buffer, 44); // WAV and every machine with a browser are little-endian
  const loudest = notes.level.reduce((a, b) => Math.max(a, b), -120);
  for (let i = 0; i < notes.on.length; i++) {
    const hz = 440 * 2 ** ((notes.pitch[i] - 69) / 12);
    const peak = 9000 * 10 ** (Math.max(notes.level[i] - loudest, -24) / 20);
    const from = Math.round(notes.on[i] * TONE_RATE_HZ);
    const until = Math.min(Math.round((notes.off[i] + RELEASE_S) * TONE_RATE_HZ), count);
    for (let n = from; n < until; n++) {
      const t = (n - from) / TONE_RATE_HZ;
      const shape = Math.min(1, t / ATTACK_S, (until - n) / TONE_RATE_HZ / RELEASE_S) * Math.exp(-1.2 * t);
      let value = 0;
      for (let k = 0; k < PARTIALS.length; k++) value += PARTIALS[k] * Math.sin(2 * Math.PI * hz * (k + 1) * t);
      samples[n] = Math.max(-32767, Math.min(32767, samples[n] + peak * shape * value));
    }
  }
  return new Blob([file.buffer], { type: "audio/wav" });
}

/** Return how loud each bin is, 0 to 1: of the recording, or of the notes where there is none. */
function outlineOf(take) {
  if (take.wave) return Float32Array.from(atob(take.wave.peaks), (c) => c.charCodeAt(0) / 255);
  const binS = 0.01;
  const bins = new Float32Array(Math.max(2, Math.ceil(take.duration / binS)));
  const loudest = take.notes.level.reduce((a, b) => Math.max(a, b), -120);
  take.notes.on.forEach((on, i) => {
    const peak = 10 ** ((take.notes.level[i] - loudest) / 20);
    for (let bin = Math.floor(on / binS); bin < Math.min(take.notes.off[i] / binS, bins.length); bin++) {
      bins[bin] = Math.max(bins[bin], peak * Math.exp(-1.2 * (bin * binS - on)));
    }
  });
  return bins;
}

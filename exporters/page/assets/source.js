// Where the sound comes from: the recording, a file chosen in its place, or the heard notes.

const MOST_DIFFERENCE_S = 1; // encoders add some hundredths of a second; another recording differs by more

class Source {
  constructor(take, media, { start, tell }) {
    Object.assign(this, { take, media, start, tell });
    this.recording = take.recording;
    this.tones = null;
    this.canTone = take.notes.on.length > 0 && toneRate(take.duration) !== null;
    this.watch();
    this.offer();
    // An error that came before this script ran is kept here. The network's state would not do: it says
    // "no source" for a moment before every load.
    if (media.error) this.isMissing();
  }

  watch() {
    this.media.addEventListener("error", () => this.isMissing());
    this.media.addEventListener("loadedmetadata", () => this.isThere());
    byId("recording").addEventListener("change", () => this.hearRecording());
    byId("tones").addEventListener("change", () => this.hearTones());
    byId("hear-notes").addEventListener("click", () => this.hearTones());
    byId("choose").addEventListener("change", (event) => { if (event.target.files.length) this.hearFile(event.target.files[0]); });
  }

  offer() {
    byId("tones").disabled = byId("hear-notes").disabled = !this.canTone;
    byId("recording").disabled = this.recording === null;
  }

  hearTones() {
    byId("tones").checked = true;
    this.tones ??= URL.createObjectURL(tonesOf(this.take.notes, this.take.duration));
    if (this.media.src !== this.tones) this.change(this.tones);
  }

  hearRecording() {
    if (this.recording !== null) this.change(this.recording);
  }

  hearFile(file) {
    this.recording = URL.createObjectURL(file);
    byId("recording").disabled = false;
    byId("recording").checked = true;
    this.change(this.recording);
    this.tell(`Plays ${file.name}.`);
  }

  /** Follow the buttons, which a browser may set as they were before the page was loaded again. */
  takeUp() {
    if (byId("tones").checked && this.canTone) this.hearTones();
    else byId("recording").checked = this.recording !== null;
  }

  /** Go on with another source where this one stands. */
  change(address) {
    const { media } = this, { currentTime, paused } = media;
    media.src = address;
    media.currentTime = currentTime;
    if (!paused) this.start();
  }

  isThere() {
    byId("missing").hidden = true;
    const differs = Math.abs(this.media.duration - this.take.duration) > MOST_DIFFERENCE_S;
    byId("differs").hidden = !differs;
    if (differs) byId("lasts").textContent = `${clock(this.media.duration)}, the take ${clock(this.take.duration)}`;
  }

  isMissing() {
    byId("differs").hidden = true;
    byId("missing").hidden = false;
  }
}

// Plays the take as it goes, or phrases of it, and knows what comes after one.

const TAIL_S = 0.12; // a last note rings on a little; cut at its end it sounds chopped
const NEAR_S = 0.01; // a browser may stand this far beside where it was sent

class Player {
  /** `chose` hears of each phrase that is now the chosen one, `following` tells the listed one after a phrase. */
  constructor(take, media, { chose, following, refused }) {
    Object.assign(this, { take, media, chose, following, refused });
    this.chosen = -1;
    this.isAstray = false; // whether the place was moved to where no phrase is
    this.after = "stop";
    this.until = null; // where the phrase that plays is over; null while the take plays on
    media.addEventListener("ended", () => { if (this.until !== null) this.phraseIsOver(); });
  }

  get playing() { return !this.media.paused && !this.media.ended; }

  async start() {
    try {
      await this.media.play();
    } catch (problem) {
      if (problem.name !== "AbortError") this.refused(); // aborted: something else was asked for meanwhile
    }
  }

  choose(index) {
    this.chosen = index;
    this.isAstray = false;
    this.chose(index);
  }

  playPhrase(index) {
    this.choose(index);
    this.until = this.after === "on" ? null : this.endOf(index);
    this.media.currentTime = this.take.phrases[index].start;
    this.start();
  }

  toggle() {
    if (this.playing) { this.media.pause(); return; }
    if (this.media.currentTime > this.take.duration - 2 * TAIL_S) this.media.currentTime = 0; // nothing is left there
    const staysInside = this.after !== "on" && this.isIn(this.chosen);
    this.until = staysInside ? this.endOf(this.chosen) : null;
    this.start();
  }

  /** Stand in a phrase, or between two: what comes after a phrase holds for this one too. */
  standIn(index) {
    this.until = null;
    this.isAstray = index < 0;
    if (index < 0) return;
    this.choose(index);
    if (this.after !== "on") this.until = this.endOf(index);
  }

  setAfter(what) {
    this.after = what;
    this.until = what !== "on" && this.isIn(this.chosen) ? this.endOf(this.chosen) : null;
  }

  /** Take note of the time; `here` is the phrase that sounds then. */
  passes(time, here) {
    if (!this.playing) return;
    if (this.until !== null) {
      if (time >= this.until) this.phraseIsOver();
    } else if (here >= 0) this.comesTo(here);
  }

  /** The take was played up to a phrase: whoever wants phrases repeated or listed ones only means this one too. */
  comesTo(index) {
    if (index !== this.chosen) this.choose(index);
    if (this.after === "again" || this.after === "next") this.until = this.endOf(index);
  }

  phraseIsOver() {
    const next = this.following(this.chosen);
    if (this.after === "again") this.playPhrase(this.chosen);
    else if (this.after === "next" && next >= 0) this.playPhrase(next);
    else { this.media.pause(); this.until = null; }
  }

  isIn(index) {
    const phrase = this.take.phrases[index], time = this.media.currentTime;
    return phrase !== undefined && time >= phrase.start - NEAR_S && time < this.endOf(index) - NEAR_S;
  }

  endOf(index) {
    const { end } = this.take.phrases[index], next = this.take.phrases[index + 1];
    return Math.min(end + TAIL_S, next ? Math.max(next.start, end) : this.take.duration);
  }
}

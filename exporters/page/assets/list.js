// The phrases as a list: one is chosen, some may be hidden, and one is where the Tab key leads.

class PhraseList {
  /** `play` hears of a row that is pressed, `listed` of another choice of rows. */
  constructor(phrases, { play, player, listed }) {
    Object.assign(this, { phrases, play, player, listed });
    this.box = byId("phrases");
    this.rows = [...this.box.querySelectorAll("button")];
    this.shown = phrases.map(() => true);
    this.chosen = -1;
    this.stop = -1;
    this.says = byId("says");
    this.home = this.says.parentElement;
    this.narrow = matchMedia("(max-width: 52rem)");
    this.narrow.addEventListener("change", () => this.lodge());
    this.filters = [...document.querySelectorAll("#filters input")];
    for (const box of this.filters) box.addEventListener("change", () => this.filter());
    this.box.addEventListener("click", (event) => this.press(this.indexOf(event.target)));
    this.box.addEventListener("keydown", (event) => this.key(event));
  }

  indexOf(element) {
    return this.rows.indexOf(element.closest("button"));
  }

  press(index) {
    if (index < 0) return;
    if (index === this.chosen && this.player.playing) this.player.toggle(); else this.play(index);
  }

  /** Enter always plays a phrase from its start; Space goes on with the chosen one. */
  key(event) {
    const at = this.indexOf(event.target);
    if (at < 0 || event.ctrlKey || event.metaKey || event.altKey) return;
    const move = {
      ArrowDown: () => this.focus(this.neighbour(at, 1)),
      ArrowUp: () => this.focus(this.neighbour(at, -1)),
      Home: () => this.focus(this.neighbour(-1, 1)),
      End: () => this.focus(this.neighbour(this.rows.length, -1)),
      Enter: () => this.play(at),
      " ": () => (at === this.chosen ? this.player.toggle() : this.play(at)),
    }[event.key];
    if (!move) return;
    event.preventDefault();
    if (!event.repeat || event.key.startsWith("Arrow")) move();
  }

  focus(index) {
    if (index < 0) return;
    this.stopAt(index);
    this.rows[index].focus();
  }

  get hasFocus() { return this.box.contains(document.activeElement); }

  stopAt(index) {
    if (this.stop >= 0) this.rows[this.stop].tabIndex = -1;
    this.stop = index;
    if (index >= 0) this.rows[index].tabIndex = 0;
  }

  choose(index) {
    if (this.chosen >= 0) this.rows[this.chosen].removeAttribute("aria-current");
    this.chosen = index;
    this.rows[index].setAttribute("aria-current", "true");
    if (this.shown[index] && !this.hasFocus) this.stopAt(index);
    this.explain();
    this.lodge();
  }

  /** Bring a phrase's row into view, and the focus to it if that is in the list. */
  follow(index) {
    this.rows[index].scrollIntoView({ block: "nearest" });
    if (this.hasFocus) this.focus(index);
  }

  /** Return the next shown phrase in a direction, -1 if there is none. */
  neighbour(index, step) {
    let next = index + step;
    while (this.shown[next] === false) next += step;
    return this.shown[next] ? next : -1;
  }

  explain() {
    const term = (tag, words) => Object.assign(document.createElement(tag), { textContent: words });
    byId("says-head").textContent = `Phrase ${this.chosen + 1}`;
    const { says } = this.phrases[this.chosen];
    byId("says-list").replaceChildren(...says.flatMap(([what, words]) => [term("dt", what), term("dd", words)]));
  }

  /** Where there is no room beside the list, what is behind the labels stands under the chosen phrase. */
  lodge() {
    const below = this.narrow.matches && this.shown[this.chosen];
    const place = below ? this.rows[this.chosen].parentElement : this.home;
    if (this.says.parentElement !== place) place.append(this.says);
  }

  /** Show or hide each row, the list away meanwhile: a browser takes ten times as long for a thousand in view. */
  show(shown) {
    this.shown = shown;
    this.box.hidden = true;
    getComputedStyle(this.box).display; // asked for, so that it is done
    this.rows.forEach((row, i) => { row.parentElement.hidden = !shown[i]; });
    this.box.hidden = false;
  }

  filter() {
    const wanted = this.filters.filter((box) => box.checked && box.value !== "any").map((box) => [`is_${box.name}`, box.value]);
    const shown = this.phrases.map((phrase) => wanted.every(([name, value]) => phrase[name] === value));
    if (shown.some((shows, i) => shows !== this.shown[i])) this.show(shown);
    const count = this.shown.filter(Boolean).length;
    byId("count").textContent = count === this.rows.length ? `All ${count} phrases` : `${count} of ${this.rows.length} phrases`;
    this.stopAt(this.shown[this.chosen] ? this.chosen : this.neighbour(-1, 1));
    this.lodge();
    this.listed();
  }
}

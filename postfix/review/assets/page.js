// What the page does by itself: filters and sorting of the tables of shots, keys, change-log entries, light and dark.
// Without it everything stands there whole. All text that comes from a clip is put in as text.
"use strict";
(() => {
  const root = document.documentElement;
  // At once, for a long page is read for seconds: what is told only where no script runs is not seen meanwhile.
  root.classList.add("scripted");
  const make = (name, properties = {}, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };
  // A timecode typed with another sign before its frames is the same one.
  const sameSigns = (text) => text.replace(/[;.]/g, ":");
  // Of a span that goes over midnight, the last timecode is the smaller one.
  const within = (code, from, to) =>
    from !== "" && (from <= to ? from <= code && code <= to : from <= code || code <= to);
  const counted = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;

  // A page opened from disk may be refused any memory; then it forgets.
  const memory = {
    read(key) { try { return localStorage.getItem(key); } catch { return null; } },
    write(key, value) { try { localStorage.setItem(key, value); } catch { /* forgotten */ } },
  };

  // ---- Light and dark

  const THEMES = { system: "as the system", light: "light", dark: "dark" };
  let theme = memory.read("postfix.theme");
  if (!Object.hasOwn(THEMES, theme)) theme = "system";

  function applyTheme() {
    if (theme === "system") delete root.dataset.theme;
    else root.dataset.theme = theme;
  }

  function themeButton() {
    const button = make("button", { type: "button" });
    const label = () => { button.textContent = `Colours: ${THEMES[theme]}`; };
    button.addEventListener("click", () => {
      const names = Object.keys(THEMES);
      theme = names[(names.indexOf(theme) + 1) % names.length];
      memory.write("postfix.theme", theme);
      applyTheme();
      label();
      // Drawings that take their colours from the style sheet draw themselves anew.
      document.dispatchEvent(new CustomEvent("postfix:theme", { detail: theme }));
    });
    label();
    return button;
  }

  // ---- Tables of shots: filters and sorting

  const tables = [];
  const tableOf = (element) => tables.find((table) => table.section.contains(element)) ?? null;

  function keysOf(row, number) {
    const [no, name, frames, ...screens] = row.cells;
    const figure = (text) => (text === undefined || text === "" ? NaN : Number(text));
    return {
      row, number,
      card: document.getElementById(row.dataset.card),
      name: name.querySelector("a").textContent,
      sought: sameSigns(name.textContent.toLowerCase()),
      frames: Number(frames.textContent),
      from: sameSigns(row.dataset.in ?? ""), to: sameSigns(row.dataset.out ?? ""),
      any: screens.map((cell) => cell.dataset.is).join(""),
      screens: screens.map((cell) => ({
        is: cell.dataset.is, worst: figure(cell.dataset.worst), hit: Math.abs(figure(cell.dataset.hit)),
      })),
    };
  }

  class ShotTable {
    constructor(element) {
      this.element = element;
      this.section = element.closest("section.clip") ?? element.parentElement;
      this.body = element.querySelector("tbody");
      this.filters = element.querySelector(".filters");
      this.count = element.querySelector(".count");
      this.inputs = Object.fromEntries(
        [...this.filters.querySelectorAll("[data-filter]")].map((input) => [input.dataset.filter, input]));
      this.sorted = { button: null, reversed: false };
      this.makeHeads();
      this.filters.addEventListener("input", () => this.filter());
      this.inputs.none.addEventListener("click", () => this.showAll());
      this.filters.hidden = this.count.hidden = false;
      this.say(this.body.rows.length);
    }

    // Read when first needed: a long page is on the screen sooner.
    get shots() {
      this.read ??= [...this.body.rows].map(keysOf);
      return this.read;
    }

    matcher() {
      const { changed, flagged, misfit, noted, screen, text } = this.inputs;
      const letters = [[changed, "c"], [flagged, "f"], [misfit, "m"], [noted, "n"]]
        .filter(([box]) => box?.checked).map(([, letter]) => letter);
      const index = screen.value === "" ? null : Number(screen.value);
      const is = (shot, letter) => (index === null ? shot.any : shot.screens[index].is).includes(letter);
      const words = sameSigns(text.value.trim().toLowerCase());
      const timecode = /^\d{2}:\d{2}:\d{2}:\d{2,3}$/.test(words);
      return (shot) =>
        (!letters.length || letters.some((letter) => is(shot, letter))) &&
        (!words || shot.sought.includes(words) || (timecode && within(words, shot.from, shot.to)));
    }

    filter() {
      const matches = this.matcher();
      let shown = 0;
      for (const shot of this.shots) {
        const hidden = !matches(shot);
        if (!hidden) shown += 1;
        if (shot.row.hidden !== hidden) shot.row.hidden = hidden;
        if (shot.card && shot.card.hidden !== hidden) shot.card.hidden = hidden;
      }
      this.say(shown);
    }

    showAll(told = "") {
      const { changed, flagged, misfit, noted, screen, text } = this.inputs;
      changed.checked = flagged.checked = misfit.checked = false;
      if (noted) noted.checked = false;
      screen.value = text.value = "";
      this.filter();
      if (told) this.count.textContent = `${told} ${this.count.textContent}`;
    }

    say(shown) {
      const all = this.body.rows.length;
      this.count.textContent = `${shown} of ${counted(all, "shot")} shown.`;
      this.sayAboveCards(all - shown);
    }

    // The cards lie far below: there, too, it must be plain that some are missing.
    sayAboveCards(hidden) {
      if (!this.note) {
        const first = this.section.querySelector("article.card");
        if (!first || !hidden) return;
        const button = make("button", { type: "button", textContent: "Show all" });
        button.addEventListener("click", () => this.showAll());
        this.noteText = make("span");
        this.note = make("p", { className: "left-out" }, this.noteText, " ", button);
        first.before(this.note);
      }
      this.note.hidden = !hidden;
      this.noteText.textContent = `The filter of the table above hides ${counted(hidden, "card")} here.`;
    }

    // ---- Sorting

    makeHeads() {
      const plain = { no: (shot) => shot.number, name: (shot) => shot.name, frames: (shot) => -shot.frames };
      for (const head of this.element.querySelectorAll("thead th")) {
        head.setAttribute("aria-sort", "none");
        const text = head.textContent;
        if (head.dataset.sort) {
          const button = this.sortButton(head, text, plain[head.dataset.sort], `Sort by ${text}`);
          head.replaceChildren(button);
          if (head.dataset.sort === "no") this.start = button;
          continue;
        }
        const index = Number(head.dataset.screen);
        const grade = (is) => (is.includes("m") ? 0 : is.includes("f") ? 1 : is.includes("c") ? 2 : 3);
        const choices = [
          ["flags", (shot) => grade(shot.screens[index].is), "flags, flagged first"],
          ["worst", (shot) => -shot.screens[index].worst, "worst figure against its limit, worst first"],
          ["HIT", (shot) => -shot.screens[index].hit, "HIT, largest first"],
        ];
        head.append(make("span", { className: "sorts" }, ...choices.map(([word, key, long]) =>
          this.sortButton(head, word, key, `Sort by ${long}, on ${text}`))));
      }
      this.mark(this.start);
    }

    sortButton(head, text, key, label) {
      const button = make("button", { type: "button", textContent: text, title: label });
      button.setAttribute("aria-label", label);
      button.addEventListener("click", () => {
        this.sorted = { button, reversed: this.sorted.button === button && !this.sorted.reversed };
        this.sort(key);
        this.mark(button);
      });
      Object.assign(button, { head, word: text });
      return button;
    }

    sort(key) {
      const order = new Intl.Collator("en", { numeric: true });
      const way = this.sorted.reversed ? -1 : 1;
      const unknown = (value) => Number.isNaN(value);
      const keyed = this.shots.map((shot) => ({ shot, value: key(shot) }));
      keyed.sort((a, b) => {
        // What is not known comes last both ways.
        if (unknown(a.value) || unknown(b.value)) return unknown(a.value) - unknown(b.value);
        const differ = typeof a.value === "string" ? order.compare(a.value, b.value) : a.value - b.value;
        return way * differ || a.shot.number - b.shot.number;
      });
      // Nothing but rows: white space between them would make each of them slow to move.
      this.body.replaceChildren(...keyed.map(({ shot }) => shot.row));
    }

    mark(button) {
      this.sorted.button ??= button;
      for (const head of this.element.querySelectorAll("thead th")) head.setAttribute("aria-sort", "none");
      // Numbers and names start with the least, all other columns with the most.
      const rising = ["no", "name"].includes(button.head.dataset.sort) !== this.sorted.reversed;
      for (const other of this.element.querySelectorAll("thead button")) {
        const is = other === button;
        other.setAttribute("aria-pressed", String(is));
        other.textContent = is ? `${other.word} ${rising ? "▴" : "▾"}` : other.word;
      }
      button.head.setAttribute("aria-sort", rising ? "ascending" : "descending");
    }
  }

  // ---- Cards reached by an address or by keys

  const cards = () => [...document.querySelectorAll("article.card[id]")].filter((card) => !card.hidden);

  const nameOf = (card) =>
    card.dataset.name ?? card.querySelector("header :is(h3, h4)")?.textContent ?? "a shot that was asked for";

  function goTo(element) {
    const card = element.closest("article.card");
    if (card?.hidden) {
      tableOf(card)?.showAll(`The filter was cleared, because it hid ${nameOf(card)}.`);
    }
    for (let fold = element.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    if (card === element || element.matches("tr, section, [tabindex]")) {
      if (!element.hasAttribute("tabindex")) element.tabIndex = -1;
      element.focus({ preventScroll: true });
    }
    element.scrollIntoView({ block: "start" });
  }

  function followHash() {
    let name = location.hash.slice(1);
    try { name = decodeURIComponent(name); } catch { /* as it stands */ }
    const element = name && document.getElementById(name);
    if (element) goTo(element);
  }

  function currentCard() {
    const focused = document.activeElement?.closest?.("article.card");
    return focused && !focused.hidden ? focused : null;
  }

  // From the card that has the focus; else from where the window stands.
  function step(forward, wanted = () => true) {
    const all = cards();
    const here = currentCard();
    const from = here ? all.indexOf(here) : all.findIndex((card) => card.getBoundingClientRect().top >= -1);
    const start = here ? from + (forward ? 1 : -1) : forward ? from : (from < 0 ? all.length : from) - 1;
    for (let at = start; at >= 0 && at < all.length; at += forward ? 1 : -1) {
      if (!wanted(all[at])) continue;
      history.replaceState(null, "", `#${all[at].id}`);
      goTo(all[at]);
      return true;
    }
    return false;
  }

  // A key that finds nothing says so: silence would be taken for a key that does not work.
  function stepTo(forward, words, wanted) {
    said.textContent = step(forward, wanted) ? "" : `There is no ${words}.`;
  }

  function flagged() {
    const cells = document.querySelectorAll("tr[data-card] > td[data-is*=f]");
    const ids = new Set([...cells].map((cell) => cell.parentElement.dataset.card));
    return (card) => ids.has(card.id);
  }

  function toTable() {
    const card = currentCard();
    const table = (card && tableOf(card)) ?? tables[0];
    const row = card && table && [...table.body.rows].find((one) => one.dataset.card === card.id);
    if (row) row.querySelector("a").focus();
    else table?.element.querySelector(".rows").focus();
    (row ?? table?.element)?.scrollIntoView({ block: "center" });
  }

  function toField() {
    const table = tableOf(document.activeElement) ?? tables[0];
    table?.inputs.text.focus();
    table?.inputs.text.select();
  }

  function tryOut() {
    const fold = currentCard()?.querySelector("details.tryout");
    if (!fold) return;
    fold.open = !fold.open;
    fold.querySelector("summary").focus();
  }

  function leave() {
    const at = document.activeElement;
    if (at === keyList || keyList.contains(at)) {
      keyList.open = false;
      keyList.querySelector("summary").focus();
    } else if (at?.matches(".filters *")) {
      tableOf(at)?.element.querySelector(".rows").focus();
    } else if (at?.matches("details *")) {
      at.closest("article.card")?.focus();
    } else if (currentCard()) {
      toTable();
    }
  }

  // ---- Keys

  const KEYS = [
    [["n"], "next card", () => stepTo(true, "next card")],
    [["p"], "previous card", () => stepTo(false, "previous card")],
    [["N"], "next card with a flag", () => stepTo(true, "next card with a flag", flagged())],
    [["P"], "previous card with a flag", () => stepTo(false, "previous card with a flag", flagged())],
    [["t"], "to the table of shots; from a card, to its row", toTable],
    [["/"], "to the field for a name or timecode", toField],
    [["o"], "open or close the try-out of the card", tryOut],
    [["a"], "show all shots", () => (tableOf(document.activeElement) ?? tables[0])?.showAll()],
    [["?"], "this list", () => { keyList.open = true; keyList.querySelector("summary").focus(); }],
    [["Escape"], "leave: the field or fold for its surroundings, a card for the table", leave],
  ];
  const said = make("p", { className: "said" });
  said.setAttribute("role", "status");
  const SHOWN = { N: "Shift N", P: "Shift P", Escape: "Esc" };
  let keyList = null;
  let keysOn = memory.read("postfix.keys") !== "off";

  const isTyping = (element) =>
    element instanceof HTMLElement && (element.isContentEditable || element.matches(
      "textarea, select, input:not([type=checkbox], [type=radio], [type=range], [type=button])"));

  function onKey(event) {
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    if (event.key !== "Escape" && (!keysOn || isTyping(event.target))) return;
    const found = KEYS.find(([keys]) => keys.includes(event.key));
    if (!found) return;
    if (event.key !== "Escape") event.preventDefault();
    found[2]();
  }

  function keySection() {
    const list = make("dl", { className: "keys" });
    for (const [keys, words] of KEYS) {
      list.append(
        make("dt", {}, ...keys.map((key) => make("kbd", { textContent: SHOWN[key] ?? key }))),
        make("dd", { textContent: words }));
    }
    const box = make("input", { type: "checkbox", checked: keysOn });
    box.addEventListener("change", () => {
      keysOn = box.checked;
      memory.write("postfix.keys", keysOn ? "on" : "off");
    });
    keyList = make("details", { id: "keys" }, make("summary", { textContent: "Keys" }), list,
      make("label", {}, box, "keys of one letter work (not while typing in a field)"));
    return keyList;
  }

  // ---- Folds of the cards

  // Each is filled when it is opened, which takes a script: without one there would be nothing in it.
  const FOLDS = [["tryout", "Try another convergence"], ["story", "Depth, size, seats, camera"],
    ["entry", "Change-log entry"]].map(([className, textContent]) =>
    make("details", { className }, make("summary", { textContent })));

  function makeFolds(card) {
    const key = card.id.replace("n", "/"), { src } = card.dataset;
    const told = card.hasAttribute("data-story") ? FOLDS : FOLDS.filter((fold) => fold.className !== "story");
    card.append(...told.map((fold) => {
      const made = fold.cloneNode(true);
      made.setAttribute("data-key", key);
      made.setAttribute("data-src", src);
      return made;
    }));
    card.tabIndex = -1;
  }

  // Clauses that many cards have stand in the style sheet; as text they can be found and copied.
  function writeRepeated() {
    const rules = [...document.getElementById("repeated")?.sheet.cssRules ?? []];
    const texts = new Map(rules.map((rule) => [rule.selectorText.slice(1).split(":")[0],
      rule.style.content.slice(1, -1).replace(/\\(["\\])/g, "$1")]));
    if (!texts.size) return;
    for (const element of document.getElementsByTagName("i")) {
      if (texts.has(element.className)) element.append(texts.get(element.className));
    }
  }

  // ---- Change-log entries

  async function fillEntry(fold) {
    if (fold.dataset.filled) return;
    fold.dataset.filled = "1";
    const note = make("p", { className: "soft", textContent: "Reading the change log’s entry …" });
    fold.querySelector(".fault")?.remove();
    fold.append(note);
    try {
      const data = await postfix.load(fold.dataset.key, fold.dataset.src);
      if (!data.entries) throw new Error(`${fold.dataset.src} holds no change-log entry`);
      const text = make("pre", { textContent: JSON.stringify(data.entries, null, 2), tabIndex: 0 });
      text.setAttribute("role", "region");
      text.setAttribute("aria-label", "Change-log entry");
      note.replaceWith(text);
    } catch (error) {
      delete fold.dataset.filled;
      note.className = "fault flags";
      note.textContent = `▲ The entry cannot be shown: ${error.message}.`;
    }
  }

  // ---- Paper

  // Pictures are loaded when they come near the window; on paper there would be none of those that never did.
  function picturesButton() {
    const button = make("button", { type: "button", textContent: "Load all pictures, for printing" });
    button.addEventListener("click", async () => {
      button.disabled = true;
      const pictures = [...document.querySelectorAll("article.card:not([hidden]) img")];
      let done = 0;
      const count = () => { button.textContent = `${done} of ${pictures.length} pictures loaded`; };
      count();
      await Promise.all(pictures.map(async (picture) => {
        picture.loading = "eager";
        await picture.decode().catch(() => {});
        done += 1;
        count();
      }));
      button.textContent = `All ${pictures.length} pictures are loaded: print now`;
      button.disabled = false;
    });
    return button;
  }

  // ---- Start

  function start() {
    const main = document.querySelector("main") ?? document.body;
    document.querySelectorAll("article.card[data-src]").forEach(makeFolds);
    writeRepeated();
    for (const element of document.querySelectorAll(".overview")) tables.push(new ShotTable(element));
    const tools = make("div", { className: "tools" }, themeButton(), picturesButton(), keySection());
    document.body.append(said);
    const title = main.querySelector("h1");
    if (title) title.after(tools);
    else main.prepend(tools);
    if (!document.querySelector(".skip") && tables.length) {
      document.body.prepend(make("a", { className: "skip", href: `#${tables[0].element.id}`,
        textContent: "To the table of shots" }));
    }
    document.addEventListener("keydown", onKey);
    document.addEventListener("toggle", (event) => {
      if (event.target.matches?.("details.entry") && event.target.open) fillEntry(event.target);
    }, true);
    window.addEventListener("hashchange", followHash);
    // The same link again: the address does not change, and yet a filter may hide the card by now.
    document.addEventListener("click", (event) => {
      const link = event.target.closest?.("a[href^='#']");
      if (link && link.hash === location.hash) followHash();
    });
    if (location.hash) followHash();
  }

  applyTheme();
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
  else start();
})();

// Depth, size, seats and camera of a shot, for all screens side by side, once its fold is opened; and a click on the
// depth rhythm. The figures are those of the shot's change-log entries beside the page; all of them may be missing.
"use strict";
(() => {
  const make = (name, properties = {}, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children.filter((child) => child !== null));
    return element;
  };
  const known = (value) => typeof value === "number" && Number.isFinite(value);
  const UNKNOWN = "not known", UNMEASURED = "not measured";

  // ---- Figures in words

  function signed(value, digits) {
    const text = Math.abs(value).toFixed(digits);
    if (Number(text) === 0) return text;
    return `${value < 0 ? "−" : "+"}${text}`;
  }
  const pct = (value) => (known(value) ? `${signed(value, 2)} %` : UNMEASURED);
  const share = (value, digits = 1) => (known(value) ? `${value.toFixed(digits)} %` : UNMEASURED);
  const arcmin = (value) => (known(value) ? `${signed(value, 1)} arcmin` : "");
  const ratio = (value) => (known(value) ? value.toFixed(2) : UNKNOWN);

  // As postfix/review/room.py has it.
  function length(mm) {
    if (!known(mm)) return null;
    if (mm < 999.5) return `${mm.toFixed(mm >= 9.95 ? 0 : 1)} mm`;
    const value = mm / 1000;
    if (value >= 10000) return "over 10 km";
    return `${value.toFixed(value < 9.995 ? 2 : value < 99.95 ? 1 : 0)} m`;
  }

  // What a person sets by hand: to a tenth of a millimetre.
  const set = (mm) => (known(mm) && mm < 999.5 ? `${mm.toFixed(1)} mm` : length(mm));

  // Where a parallax is seen: a distance, or why there is none.
  function place(seen) {
    if (!seen || !known(seen.parallax_pct)) return [UNMEASURED];
    const at = length(seen.distance_mm);
    const apart = known(seen.divergence_deg) && seen.divergence_deg >= 0.005;
    const why = apart ? `no distance: eyes ${seen.divergence_deg.toFixed(2)}° apart` : "no distance: eyes parallel";
    return [at ?? why, `${pct(seen.parallax_pct)}, ${arcmin(seen.arcmin)}`];
  }

  // ---- Tables

  // Figures keep their units; sentences may break.
  const kept = (text) => text.replace(/([\d.]) (?=%|mm?\b|km\b|arcmin\b)/g, "$1\u00a0");
  const cell = ([text, small = ""]) =>
    make("td", { className: text.length > 30 ? "n long" : "n" }, kept(text),
      small ? make("small", { textContent: kept(small) }) : null);

  function head(scope, text, className = "") {
    const element = make("th", { textContent: text, className });
    element.scope = scope;
    return element;
  }

  function boxed(label, table) {
    const box = make("div", { className: "box", tabIndex: 0 }, table);
    box.setAttribute("role", "region");
    box.setAttribute("aria-label", label);
    return box;
  }

  function group(text, columns) {
    const element = head("colgroup", text, "group");
    element.colSpan = columns;
    return make("tr", {}, element);
  }

  const DEPTH = [
    ["Depth volume", ({ story: { depth } }) => {
      if (!known(depth.volume_pct)) return [UNMEASURED];
      return [share(depth.volume_pct, 2), length(depth.volume_mm) ?? "far has no distance"];
    }],
    ["Near seen at", ({ story }) => place(story.depth.near)],
    ["Main mass seen at", ({ story }) => place(story.depth.main)],
    ["Far seen at", ({ story }) => place(story.depth.far)],
    ["Jump of main mass at the cut", ({ story: { cut } }) => {
      if (!cut) return ["no cut before it"];
      const kinds = [cut.is_hard ? "▲ hard" : "", cut.is_quick ? "quick" : ""].filter(Boolean).join(", ");
      return known(cut.jump_pct) ? [pct(cut.jump_pct), [arcmin(cut.jump_arcmin), kinds].filter(Boolean).join(", ")]
        : [UNMEASURED];
    }],
    ["Change of depth volume at the cut", ({ story: { cut } }) => [cut ? pct(cut.volume_jump_pct) : "no cut before it"]],
  ];

  const front = (tell) => ({ story }) => (story.front ? tell(story.front) : ["–"]);
  const FRONT = [
    ["In front of the screen", ({ story }) => (story.front
      ? [`${share(story.front.share_pct)} of the picture`, `at its widest in frame ${story.front.frame}`]
      : [story.front_is_known ? "nothing" : UNMEASURED])],
    ["Widest thing, of the picture", front((one) =>
      [`${share(one.width_pct, 0)} wide`, `${share(one.height_pct, 0)} high`])],
    ["Its size on the screen", front((one) =>
      [`${length(one.width_mm) ?? UNKNOWN} wide`, `${length(one.height_mm) ?? UNKNOWN} high`])],
    ["Seen at", front((one) => place(one.seen))],
    ["Seems to be wide", front((one) =>
      [length(one.seen_width_mm) ?? (known(one.seen.parallax_pct) ? "no distance" : UNMEASURED)])],
  ];

  const filmed = (tell) => ({ story }) => (story.filmed ? tell(story.filmed) : ["–"]);
  const real = (key, why) => filmed((one) => [length(one[key]) ?? UNKNOWN, one[why]]);
  const against = (key, end) => ({ story, before }) => {
    if (!story.filmed || !known(story.filmed[key])) return [story.filmed ? UNKNOWN : "–"];
    return [pct(story.filmed[key]), `measured ${pct(before?.[end])}`];
  };
  // As it was noted, to the last digit.
  const exact = (mm) => (mm < 1000 ? `${mm} mm` : `${Number((mm / 1000).toPrecision(12))} m`);
  const endless = (mm) => (mm === "inf" ? "infinite" : known(mm) ? exact(mm) : null);

  const NOTED = [
    ["interaxial", "interaxial_mm"], ["focal length", "focal_mm"], ["sensor width", "sensor_width_mm"],
    ["converged at", "convergence_mm"], ["near", "near_mm"], ["far", "far_mm"],
    ["focused at", "focus_mm"],
  ];
  const CAMERA = [
    ["Noted", ({ camera }) => {
      const told = NOTED.map(([word, key]) => [word, camera && endless(camera[key])]).filter(([, text]) => text);
      return [told.map(([word, text]) => `${word} ${text}`).join(", ") || "nothing", camera?.rig ?? ""];
    }],
    ["Not noted, and needed", filmed((one) => [(one.missing ?? []).join(", ") || "nothing"])],
    ["Near, real distance", real("near_mm", "near_why")],
    ["Main mass, real distance", real("main_mm", "main_why")],
    ["Far, real distance", (entry) => (entry.story.filmed?.far_is_infinite
      ? ["at infinity, or as if beyond it"] : real("far_mm", "far_why")(entry))],
    ["Near, predicted as shot", against("predicted_near_pct", "near_pct")],
    ["Far, predicted as shot", against("predicted_far_pct", "far_pct")],
    ["Roundness near", filmed((one) => [ratio(one.near_roundness)])],
    ["Roundness, main mass", filmed((one) => [ratio(one.main_roundness)])],
    ["Roundness far", filmed((one) => [ratio(one.far_roundness)])],
    ["Lens, as on Super 35", filmed((one) => [set(one.equivalent_focal_mm) ?? UNKNOWN])],
    ["Interaxial that would have fitted", filmed((one) => [set(one.fitting_interaxial_mm) ?? UNKNOWN, one.rig ?? ""])],
    ["Interaxial by the formula of Bercovitz", filmed((one) => [set(one.bercovitz_mm) ?? UNKNOWN])],
    ["Nothing nearer, by 1/30", real("nearest_30_mm")],
    ["Nothing nearer, by 1/100", real("nearest_100_mm")],
  ];

  function figures(told) {
    const table = make("table", {}, make("thead", {}, make("tr", {}, head("col", ""),
      ...told.map(([name]) => head("col", name, "n")))));
    const body = make("tbody");
    const parts = [["Depth", DEPTH], ["In front", FRONT]];
    if (told.some(([, entry]) => entry.story.filmed || entry.camera)) parts.push(["Camera", CAMERA]);
    for (const [title, rows] of parts) {
      body.append(group(title, told.length + 1));
      for (const [word, tell] of rows) {
        body.append(make("tr", {}, head("row", word), ...told.map(([, entry]) => cell(tell(entry)))));
      }
    }
    table.append(body);
    return boxed("Depth, size and camera on each screen", table);
  }

  function seats(told) {
    const words = ["Seat", "near", "main mass", "far", "eyes apart", "outside"];
    const rounded = told.some(([, { story }]) => story.seats.some((seat) => known(seat.roundness)));
    if (rounded) words.splice(5, 0, "roundness");
    const table = make("table", {}, make("thead", {}, make("tr", {}, ...words.map((word, at) =>
      head("col", word, at === 0 || at === words.length - 1 ? "" : "n")))));
    for (const [name, { story }] of told) {
      const body = make("tbody", {}, group(name, words.length));
      for (const seat of story.seats) {
        const most = Math.max(...["near", "main", "far"].map((end) => seat[end].divergence_deg ?? NaN));
        const apart = Number.isNaN(most) ? UNMEASURED : most > 0 ? `${most.toFixed(2)}°` : "no";
        const outside = (seat.outside ?? []).map((text) => `△ ${text}`).join("; ") || "nothing";
        body.append(make("tr", {}, head("row", seat.name), cell(place(seat.near)), cell(place(seat.main)),
          cell(place(seat.far)), cell([apart]), rounded ? cell([ratio(seat.roundness)]) : null,
          make("td", { className: "outside", textContent: kept(outside) })));
      }
      table.append(body);
    }
    return boxed("The shot from each seat", table);
  }

  function rooms(told, data) {
    const pictures = told.filter(([name]) => data.rooms && Object.hasOwn(data.rooms, name)).map(([name]) => {
      const { src, words } = data.rooms[name];
      return boxed(`The room of ${name}`, make("img", { src, alt: words }));
    });
    return pictures.length ? make("div", { className: "rooms" }, ...pictures) : null;
  }

  // ---- The fold

  async function fill(fold) {
    if (fold.dataset.filled) return;
    fold.dataset.filled = "1";
    const note = make("p", { className: "soft", textContent: "Reading the figures …" });
    fold.querySelector(".fault")?.remove();
    fold.append(note);
    try {
      // The shot's figures are named once on its card.
      const { key, src } = fold.closest("article").querySelector("[data-src]").dataset;
      const data = await postfix.load(key, src);
      const told = Object.entries(data.entries ?? {}).filter(([, entry]) => entry.story);
      if (!told.length) throw new Error(`${src} tells nothing of depth`);
      const parts = [make("h5", { textContent: "On each screen" }), figures(told)];
      if (told.some(([, { story }]) => story.seats.length)) {
        parts.push(make("h5", { textContent: "From each seat" }), seats(told), rooms(told, data));
      }
      note.replaceWith(make("div", { className: "story-tables" }, ...parts.filter((part) => part !== null)));
    } catch (error) {
      delete fold.dataset.filled;
      note.className = "fault flags";
      note.textContent = `▲ The figures cannot be shown: ${error.message}.`;
    }
  }

  // ---- Depth rhythm: a click goes to the card of the shot

  function shotAt(box, clientX) {
    const drawing = box.querySelector("svg");
    const { left, width } = drawing.getBoundingClientRect();
    const whole = drawing.viewBox.baseVal.width;
    const from = Number(drawing.dataset.left), to = whole - Number(drawing.dataset.right);
    const place = (((clientX - left) * whole) / width - from) / (to - from);
    if (!(place >= 0 && place < 1)) return null;
    const lengths = box.dataset.lengths.split(" ").map(Number);
    let rest = place * lengths.reduce((sum, length) => sum + length, 0);
    const index = lengths.findIndex((length) => (rest -= length) < 0);
    return index < 0 ? null : `${box.dataset.clip}n${box.dataset.cards?.split(" ")[index] ?? index}`;
  }

  function follow(event) {
    const box = event.target.closest?.(".rhythm");
    const card = box && event.target.closest("svg") && shotAt(box, event.clientX);
    if (!card) return;
    const link = make("a", { href: `#${card}`, hidden: true });
    box.append(link);
    link.click();
    link.remove();
  }

  function start() {
    document.addEventListener("toggle", (event) => {
      if (event.target.matches?.("details.story") && event.target.open) fill(event.target);
    }, true);
    document.addEventListener("click", follow);
    for (const box of document.querySelectorAll(".rhythm")) {
      box.classList.add("clickable");
      box.after(make("p", { className: "soft small clicks", textContent: "A click goes to the shot." }));
    }
    for (const fold of document.querySelectorAll("details.story[open]")) fill(fold);
  }

  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
  else start();
})();

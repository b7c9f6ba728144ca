// The try-out on a shot's card: another HIT, another window, both eyes drawn with them, the figures reckoned anew by the
// rules in tryout_rules.js.
"use strict";
(() => {
  const {
    SIDES, steady, keptInside, tried, pinned, isResampled, eyeMoves, whyNot, figures, pinFigures, mmOf, arcminOf, spanArcminOf, divergenceOf,
    outsideBy, isOutside, signed, lengthText, plainLength, pxText, spanOf, toml, pin, drawEye, drawAnaglyph,
    drawDifference,
  } = window.postfix.tryoutRules;

  // --- pieces of the page ------------------------------------------------------------------------------------------

  // All text goes in as text: a name with markup shows as it is written.
  function el(tag, attributes = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...children);
    return made;
  }

  let fieldsMade = 0;

  const freshId = () => `try-field-${fieldsMade++}`;

  function button(text, onClick) {
    const made = el("button", { type: "button" }, text);
    made.addEventListener("click", onClick);
    return made;
  }

  function tickBox(text, onChange) {
    const input = el("input", { type: "checkbox", id: freshId() });
    input.addEventListener("change", () => onChange(input.checked));
    return { input, row: el("p", { class: "try-tick" }, input, el("label", { for: input.id }, text)) };
  }

  // A slider and a number field for the same value; what is typed half-way is left alone until it is done.
  function valueField(text, unit, span, onInput) {
    const id = freshId(), sides = { min: span.least, max: span.most, step: span.step };
    const slider = el("input", { type: "range", ...sides, "aria-label": `${text}, slider` });
    const field = el("input", { type: "number", id, min: span.lowest, max: span.highest, step: span.step });
    const label = el("label", { for: id }, text);
    for (const input of [slider, field]) {
      input.addEventListener("input", () => {
        if (Number.isFinite(input.valueAsNumber)) onInput(input.valueAsNumber);
      });
    }
    let latest = 0;
    field.addEventListener("change", () => { field.value = String(latest); });
    const show = (value) => {
      latest = value;
      slider.value = value;
      slider.setAttribute("aria-valuetext", `${span.signed ? signed(value, 2) : value} ${unit}`);
      if (document.activeElement !== field) field.value = String(value);
    };
    const row = el("div", { class: "try-value" }, label, slider, field, el("span", { class: "try-unit" }, unit));
    return { row, label, show };
  }

  const VIEWS = {
    anaglyph: ["Anaglyph", "For red (left eye) and cyan (right eye) glasses."],
    "side-by-side": ["Side by side", "Left eye at the left, right eye at the right."],
    difference: [
      "Difference",
      "Black where both eyes are alike, as at the depth of the screen; the brighter, the more they differ.",
    ],
    wiggle: ["Wiggle", "One eye after the other: what stays still lies at the screen, what jumps does not."],
  };

  const CHANGE_MS = 500;  // from one eye to the other: two changes a second
  const LEAST_CHANGE_MS = 334;  // never more than three changes a second, by hand or not: flicker can harm
  const GAP_PX = 6;

  // --- the picture -------------------------------------------------------------------------------------------------

  async function pixelsOf(address) {
    const image = new Image();
    image.src = address;
    await image.decode();
    const canvas = el("canvas", { width: image.naturalWidth, height: image.naturalHeight });
    const context = canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(image, 0, 0);
    return context.getImageData(0, 0, canvas.width, canvas.height);
  }

  // The canvas with its legend and the buttons of the wiggle; `draw(shot, screen, view)` fills it.
  function pictureOf(data, drawSoon) {
    const canvas = el("canvas", { role: "img", class: "try-canvas", "aria-label": "Both eyes" });
    const legend = el("p", { class: "try-legend" }), which = el("p", { class: "try-which" });
    const still = matchMedia("(prefers-reduced-motion: reduce)");
    let eyes = null, out = null, timer = 0, shown = 0, changed = -Infinity;

    function showOther() {
      if (performance.now() - changed < LEAST_CHANGE_MS) return;
      changed = performance.now();
      shown = 1 - shown;
      drawSoon();
    }
    function stop() {
      clearInterval(timer);
      timer = 0;
      starter.textContent = "Start the wiggle";
    }
    function startOrStop() {
      if (timer) { stop(); return; }
      if (still.matches) return;
      timer = setInterval(() => (still.matches ? stop() : showOther()), CHANGE_MS);
      starter.textContent = "Stop the wiggle";
    }
    const starter = button("Start the wiggle", startOrStop), stepper = button("Show the other eye", () => {
      stop();
      showOther();
    });
    const calm = el("p", { class: "try-note" },
      "This device asks for little motion, so the eyes change only when you press the button.");
    const wiggle = el("div", { class: "try-wiggle" }, starter, stepper, calm);
    const note = el("p", { class: "try-note" });
    if (data.frame !== undefined) note.append(`${[`Frame ${data.frame}`, data.timecode].filter(Boolean).join(", ")}. `);
    const spared = data.screens.some((screen) => screen.plan && screen.spare_px);
    if (spared) note.append("Grey at a side: the source has picture there that this preview has not.");
    const box = el("div", { class: "try-picture" });
    still.addEventListener("change", () => { stop(); drawSoon(); });
    document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });

    function missing(why) {
      box.replaceChildren(el("p", { class: "try-none" }, `${why} The figures hold all the same.`));
    }
    async function open() {
      if (!data.eyes) { missing("There is no picture here: the source's pictures were not at hand."); return; }
      try {
        eyes = await Promise.all(data.eyes.map(pixelsOf));
      } catch {
        missing("The picture could not be opened.");
        return;
      }
      out = eyes.map((eye) => new Uint8ClampedArray(eye.data.length));
      box.replaceChildren(canvas, which, legend, wiggle, note);
      drawSoon();
    }

    function place(context, pixels, x) {
      context.putImageData(new ImageData(pixels, eyes[0].width, eyes[0].height), x, 0);
    }
    function draw(screen, shot, view, words) {
      if (view !== "wiggle" && timer) stop();
      wiggle.hidden = view !== "wiggle";
      starter.hidden = still.matches;
      calm.hidden = !still.matches;
      if (!eyes) return;
      const { width, height } = eyes[0], both = view === "side-by-side";
      const wide = both ? 2 * width + GAP_PX : width;
      if (canvas.width !== wide || canvas.height !== height) Object.assign(canvas, { width: wide, height });
      canvas.style.aspectRatio = String(wide / width * data.width_px * data.pixel_aspect / data.height_px);
      eyes.forEach((eye, index) => drawEye(data, screen, shot, index, eye, out[index]));
      const context = canvas.getContext("2d", { willReadFrequently: true });
      if (both) {
        context.fillStyle = "#808080";
        context.fillRect(width, 0, GAP_PX, height);
        place(context, out[0], 0);
        place(context, out[1], width + GAP_PX);
      } else if (view === "wiggle") {
        place(context, out[shown], 0);
      } else {
        const made = new Uint8ClampedArray(out[0].length);
        if (view === "anaglyph") drawAnaglyph(out[0], out[1], made, data.red_cyan);
        else drawDifference(out[0], out[1], made);
        place(context, made, 0);
      }
      which.textContent = view === "wiggle" ? `Now shown: ${SIDES[shown]} eye` : "";
      which.hidden = view !== "wiggle";
      legend.textContent = VIEWS[view][1];
      canvas.setAttribute("aria-label", `${VIEWS[view][0]} of frame ${data.frame}, ${words}`);
    }
    box.append(el("p", { class: "try-none" }, "The picture is being opened …"));
    return { box, open, draw, stop };
  }

  // --- the table of figures ----------------------------------------------------------------------------------------

  const ROWS = [
    ["near_pct", "Near"],
    ["far_pct", "Far"],
    ["range_pct", "Range in a frame"],
    ["median_pct", "Main mass (median)"],
    ["left_excess_pct", "In front of the left edge"],
    ["right_excess_pct", "In front of the right edge"],
  ];

  const isSpan = (name) => name.startsWith("range") || name.includes("excess");

  const pctText = (name, pct) => `${isSpan(name) ? pct.toFixed(2) : signed(pct, 2)} %`;

  // The same figure in millimetres on the screen and as an angle.
  function beside(screen, name, pct) {
    if (name.includes("excess")) return plainLength(mmOf(screen, pct));
    if (isSpan(name)) return `${plainLength(mmOf(screen, pct))}, ${spanArcminOf(screen, pct).toFixed(1)} arcmin`;
    return `${lengthText(mmOf(screen, pct))}, ${signed(arcminOf(screen, pct), 1)} arcmin`;
  }

  function fillFigure(cell, screen, name, pct, why) {
    if (Number.isNaN(pct)) cell.replaceChildren(el("span", { class: "try-soft" }, why));
    else {
      const number = el("span", { class: "try-number" }, pctText(name, pct));
      cell.replaceChildren(number, el("small", {}, beside(screen, name, pct)));
    }
  }

  function fillLimit(cell, data, screen, name) {
    if (name.includes("excess")) {
      const tolerance = `up to ${data.edge_tolerance_pct.toFixed(2)} %`;
      cell.replaceChildren(tolerance, el("small", {}, "this project's own tolerance"));
      return;
    }
    const key = name.split("_")[0], limit = screen.limits[key];
    if (limit === undefined) cell.replaceChildren("");
    else if (limit === null) cell.replaceChildren("not known");
    else {
      const number = el("span", { class: "try-number" }, pctText(name, limit));
      cell.replaceChildren(key === "near" ? "not below " : "up to ", number, el("small", {}, screen.rules[key]));
    }
  }

  const MARKS = { inside: "\u2713", outside: "\u2717", "not known": "?" };

  // inside, outside or not known; empty where a figure has no limit.
  function judged(data, screen, name, pct) {
    if (name === "median_pct") return "";
    const over = outsideBy(data, screen, name, pct);
    if (Number.isNaN(over)) return "not known";
    return isOutside(data, name, over) ? "outside" : "inside";
  }

  function fillJudgement(cell, data, screen, name, pct) {
    const word = judged(data, screen, name, pct);
    cell.className = word ? `try-judged try-${word.replace(" ", "-")}` : "";
    if (!word) { cell.textContent = ""; return; }
    // Of an edge, what is beyond the tolerance that stands in the row as its limit.
    const over = outsideBy(data, screen, name, pct) - (name.includes("excess") ? data.edge_tolerance_pct : 0);
    const by = word === "outside" ? ` by ${over.toFixed(2)} % (${plainLength(mmOf(screen, over))})` : "";
    cell.textContent = `${MARKS[word]} ${word}${by}`;
  }

  // Whether the eyes must turn apart; never as a distance, which there is not beyond the eyes' own.
  function divergenceText(screen, farPct) {
    const { wider_mm: wider, deg } = divergenceOf(screen, farPct);
    const eyes = `the eyes (${screen.eye_mm} mm)`;
    if (wider > 0) return [`${deg.toFixed(2)}°`, `far is ${plainLength(wider)} wider than ${eyes}`];
    return ["none", wider > -0.05 ? `far is as wide as ${eyes}` : `far is ${plainLength(wider)} narrower than ${eyes}`];
  }

  function figuresTable(data) {
    const cells = new Map();
    const body = el("tbody");
    for (const [name, title] of [...ROWS.slice(0, 2), ["divergence", "Eyes turn apart"], ...ROWS.slice(2)]) {
      const four = [el("td"), el("td", { class: "try-now" }), el("td", { class: "try-limit" }), el("td")];
      cells.set(name, four);
      body.append(el("tr", {}, el("th", { scope: "row" }, title), ...four));
    }
    const heads = ["", "As shot", "Now", "Limit", ""].map((text) => el("th", { scope: "col" }, text));
    heads[0].append(el("span", { class: "try-hidden" }, "Figure"));
    heads[4].append(el("span", { class: "try-hidden" }, "Inside or outside"));
    const table = el("table", { class: "try-figures" },
      el("caption", { class: "try-hidden" }, "Figures with the HIT and window tried"),
      el("thead", {}, el("tr", {}, ...heads)), body);

    function showDivergence(screen, before, now) {
      const [was, is, limit, word] = cells.get("divergence");
      for (const [cell, pct] of [[was, before], [is, now]]) {
        if (Number.isNaN(pct)) cell.replaceChildren(el("span", { class: "try-soft" }, "not known"));
        else {
          const [first, more] = divergenceText(screen, pct);
          cell.replaceChildren(first, el("small", {}, more));
        }
      }
      limit.replaceChildren(`none: far up to ${screen.eye_mm} mm`);
      const state = Number.isNaN(now) ? "not known" : divergenceOf(screen, now).wider_mm > 0 ? "apart" : "inside";
      word.className = `try-judged try-${state.replace(" ", "-")}`;
      word.textContent = state === "apart" ? "! the eyes turn apart" : `${MARKS[state]} ${state}`;
    }
    function show(screen, found) {
      const before = (name) => (screen.before && typeof screen.before[name] === "number" ? screen.before[name] : NaN);
      for (const [name] of ROWS) {
        const [was, is, limit, word] = cells.get(name);
        fillFigure(was, screen, name, before(name), screen.before ? "not measured" : "not known");
        fillFigure(is, screen, name, found[name], whyNot(data, screen, name));
        fillLimit(limit, data, screen, name);
        fillJudgement(word, data, screen, name, found[name]);
      }
      showDivergence(screen, before("far_pct"), found.far_pct);
    }
    return { table: el("div", { class: "try-scroll" }, table), show };
  }

  const SHORT = {
    near_pct: "near", far_pct: "far", range_pct: "range",
    left_excess_pct: "left edge", right_excess_pct: "right edge",
  };

  // One sentence: what is outside, what is not known.
  function verdict(data, screen, found) {
    const of = (word) => Object.keys(SHORT).filter((name) => judged(data, screen, name, found[name]) === word)
      .map((name) => SHORT[name]);
    const outside = of("outside"), unknown = of("not known");
    const isGood = !outside.length && unknown.length < Object.keys(SHORT).length;
    const parts = outside.length ? [`${MARKS.outside} Outside: ${outside.join(", ")}.`] : [];
    if (isGood) parts.push(`${MARKS.inside} ${unknown.length ? "What is known is" : "All"} inside.`);
    if (unknown.length) parts.push(`${MARKS["not known"]} Not known: ${unknown.join(", ")}.`);
    return { text: parts.join(" "), word: outside.length ? "outside" : unknown.length ? "not-known" : "inside" };
  }

  // --- lines to copy -----------------------------------------------------------------------------------------------

  async function putOnClipboard(area) {
    try {
      await navigator.clipboard.writeText(area.value);
      return true;
    } catch {
      // A page opened from disk may be refused: select the text, and try the older way.
      area.focus();
      area.select();
      try { return document.execCommand("copy"); } catch { return false; }
    }
  }

  function copyBox(title, action, className) {
    const area = el("textarea", { id: freshId(), readonly: "", spellcheck: "false", wrap: "off", class: className });
    const said = el("span", { role: "status", class: "try-copied" });
    const copy = button(action, async () => {
      said.textContent = await putOnClipboard(area)
        ? "Copied." : "The browser does not let a page copy: the text is selected, press Ctrl+C or Cmd+C.";
    });
    return {
      box: el("div", { class: "try-copy" }, el("label", { for: area.id }, title), area,
        el("p", { class: "try-buttons" }, copy, said)),
      show(text) {
        if (area.value === text) return;
        area.value = text;
        area.rows = Math.min(Math.max(text.split("\n").length - 1, 2), 14);
        said.textContent = "";
      },
    };
  }

  // --- the try-out of one shot -------------------------------------------------------------------------------------

  // A step of the slider is finer than one of the picture.
  const hitStep = (data) => (100 / data.width_px > 0.02 ? 0.01 : 0.005);

  // Decimals of a HIT that are shown and taken: a hundredth of a pixel of a picture 10,000 wide.
  const HIT_DIGITS = 4;

  const widestOf = (keys) => [1, 2, 3, 4].map((i) => Math.max(0, ...keys.map((key) => key[i])));

  function freshState(data) {
    const screen = data.screens.findIndex(({ plan }) => plan);
    return { screen, view: "anaglyph", hit: null, hold: false, window: null };
  }

  // What was chosen, in the words of `tried`.
  function askedHit(state, plan) {
    const value = state.hit === null ? plan.hit[0][1] : state.hit;
    if (state.hold && plan.hit.length > 1) return { held: value };
    return state.hit;
  }

  function screenPicker(data, state, changed) {
    const select = el("select", { id: freshId(), class: "try-screen" });
    data.screens.forEach((screen, index) => {
      const option = el("option", { value: index }, screen.plan ? screen.name : `${screen.name} (${screen.why})`);
      option.disabled = !screen.plan;
      select.append(option);
    });
    select.value = String(state.screen);
    select.addEventListener("change", () => {
      state.screen = Number(select.value);
      changed();
    });
    return el("p", { class: "try-pick" }, el("label", { for: select.id }, "Screen"), select);
  }

  function viewPicker(state, changed) {
    const name = freshId();
    const choices = Object.entries(VIEWS).map(([view, [title]]) => {
      const input = el("input", { type: "radio", name, value: view, id: freshId() });
      input.checked = view === state.view;
      input.addEventListener("change", () => {
        state.view = view;
        changed();
      });
      return el("span", {}, input, el("label", { for: input.id }, title));
    });
    return el("fieldset", { class: "try-views" }, el("legend", {}, "View"), ...choices);
  }

  function hitControls(data, state, changed) {
    const most = data.hit_max_pct, reach = data.reach_pct;
    const span = { least: -reach, most: reach, lowest: -most, highest: most, step: hitStep(data), signed: true };
    const field = valueField("HIT", "% of width", span, (value) => {
      state.hit = keptInside(steady(value, HIT_DIGITS), -most, most);
      changed();
    });
    const hold = tickBox("Hold one value over the whole shot", (is) => {
      state.hold = is;
      changed();
    });
    const applied = el("p", { class: "try-note try-applied" });
    const box = el("fieldset", { class: "try-hit" }, el("legend", {}, "Convergence (HIT)"),
      el("p", { class: "try-note" }, "More pushes the scene away, less brings it nearer."),
      field.row, hold.row, applied);
    function show(screen, shot, asked) {
      const eased = screen.plan.hit.length > 1;
      hold.row.hidden = !eased;
      hold.input.checked = state.hold;
      field.label.textContent = eased && !state.hold ? `HIT, first of ${screen.plan.hit.length} keys` : "HIT";
      const value = asked === null ? shot.hit[0][1] : typeof asked === "object" ? asked.held : shot.hit[0][1];
      field.show(steady(value, HIT_DIGITS));
      applied.textContent = appliedText(data, screen, shot);
    }
    return { box, show };
  }

  // By how many pixels, of both eyes together and of each.
  function movesText(data, screen, shot) {
    const moves = shot.hit.map(([, pct]) => eyeMoves(data, screen, shot, pct));
    const total = spanOf(moves.map(([left, right]) => right - left), pxText);
    const eyes = [0, 1].map((eye) => spanOf(moves.map((move) => move[eye]), pxText));
    return `${total} (left eye ${eyes[0]}, right eye ${eyes[1]})`;
  }

  const stepText = (screen) => (screen.step_told ? "" : " The log does not say in what steps eyes move: 1 px is taken.");

  function appliedText(data, screen, shot) {
    const more = shot.zoom !== 1 ? ` Enlarged to ${(shot.zoom * 100).toFixed(2)} %.` : "";
    const kept = shot.hit.length > 1 ? " All keys move alike; the easing stays." : "";
    return `Really applied: ${movesText(data, screen, shot)}.${more}${kept}${stepText(screen)}`;
  }

  // What planning makes of the pin: not always what was tried, since a held HIT goes in whole steps.
  function pinText(data, screenIndex, asked) {
    const screen = data.screens[screenIndex], shot = pinned(data, screen, asked);
    const found = pinFigures(data, screenIndex, asked), { fine } = screen;
    const how = isResampled(shot) ? "at fractions of a pixel" : `in whole steps of ${screen.step_px} px`;
    const known = ["near", "far"].filter((name) => !Number.isNaN(found[`${name}_pct`]))
      .map((name) => `${name} ${signed(found[`${name}_pct`], 2)} %`).join(", ");
    const by = fine.by_hand ? " A person decided that in the plan; planning keeps it with --update." : "";
    const unsure = fine.told || fine.by_hand || isResampled(shot) ? ""
      : " The log does not say whether planning goes to fractions of a pixel: whole steps are taken.";
    return `With this pin planning applies ${movesText(data, screen, shot)} for ${screen.name}, ${how}`
      + `${known ? `: ${known}` : ""}.${by}${unsure}${stepText(screen)}`;
  }

  const ENDS = ["Left edge, top", "Left edge, bottom", "Right edge, top", "Right edge, bottom"];

  function windowControls(data, state, changed) {
    const span = { least: 0, most: data.window_reach_px, lowest: 0, highest: data.width_px, step: 1 };
    let shown = [0, 0, 0, 0], planned = null;
    const take = (values) => {
      state.window = { left: values.slice(0, 2), right: values.slice(2) };
      changed();
    };
    const alike = tickBox("Top and bottom alike", (is) => {
      if (!is) return;
      const [lt, lb, rt, rb] = shown, left = Math.max(lt, lb), right = Math.max(rt, rb);
      if (lt !== lb || rt !== rb) take([left, left, right, right]);
    });
    const fields = ENDS.map((title, index) => valueField(title, "px", span, (value) => {
      const px = keptInside(steady(value, 2), 0, data.width_px), values = [...shown];
      for (const end of alike.input.checked ? [index, index ^ 1] : [index]) values[end] = px;
      take(values);
    }));
    const note = el("p", { class: "try-note" });
    const box = el("fieldset", { class: "try-window" }, el("legend", {}, "Floating window"), alike.row,
      ...fields.map((field) => field.row), note);
    function show(screen, shot) {
      shown = state.window ? [...state.window.left, ...state.window.right] : widestOf(screen.plan.window);
      if (planned !== screen.plan) {
        planned = screen.plan;
        alike.input.checked = shown[0] === shown[1] && shown[2] === shown[3];
      }
      fields.forEach((field, index) => field.show(shown[index]));
      note.textContent = windowNote(screen, shot);
    }
    return { box, show, forget: () => { planned = null; } };
  }

  function windowNote(screen, shot) {
    const through = steady(100 - shot.opacity_pct, 2);
    const seeThrough = through > 0 ? ` It lets ${through} % through, so it does not count.` : "";
    if (shot.isWindowed) return `Held over the whole shot.${seeThrough}`;
    if (!shot.window.length) return `The plan has no window here.${seeThrough}`;
    if (shot.window.length === 1) return `As in the plan.${seeThrough}`;
    return `The plan's window moves: its widest is shown. Touch it to hold one.${seeThrough}`;
  }

  function tryOut(details, data) {
    const state = freshState(data);
    if (state.screen < 0) {
      details.append(el("p", { class: "try-none" }, "No screen of this clip holds this shot as it stands here."));
      return null;
    }
    let waiting = 0, telling = 0;
    const changed = () => {
      if (!waiting) waiting = requestAnimationFrame(update);
    };
    const picture = pictureOf(data, changed), table = figuresTable(data);
    const hit = hitControls(data, state, changed), window = windowControls(data, state, changed);
    const lines = copyBox("Lines for this screen's plan.toml", "Copy for the plan", "try-toml");
    const pinLines = copyBox("HIT alone, as a pin for a settings file; planning then makes the windows, on every screen",
      "Copy the pin", "try-pin");
    const planned = el("p", { class: "try-note try-planned" });
    const said = el("p", { class: "try-verdict" }), live = el("p", { class: "try-hidden", role: "status" });
    const back = button("Back to the plan", () => {
      Object.assign(state, { hit: null, hold: false, window: null });
      window.forget();
      changed();
    });

    function update() {
      waiting = 0;
      const screen = data.screens[state.screen], asked = askedHit(state, screen.plan);
      const shot = tried(data, screen, asked, state.window), found = figures(data, state.screen, asked, state.window);
      hit.show(screen, shot, asked);
      window.show(screen, shot);
      table.show(screen, found);
      const result = verdict(data, screen, found);
      said.textContent = result.text;
      said.className = `try-verdict try-${result.word}`;
      lines.show(toml(data, state.screen, asked, state.window));
      pinLines.show(pin(data, state.screen, asked));
      planned.textContent = pinText(data, state.screen, asked);
      back.disabled = !shot.isMoved && !shot.isWindowed && state.hit === null && state.window === null && !state.hold;
      const words = `HIT ${spanOf(shot.hit.map(([, pct]) => pct), (pct) => `${signed(pct, 2)} %`)}`;
      desk.classList.toggle("try-broad", state.view === "side-by-side");
      picture.draw(screen, shot, state.view, words);
      tell(`${screen.name}: ${words}. ${result.text}`);
    }
    // One sentence, once a person has paused: a slider being dragged says nothing.
    function tell(text) {
      clearTimeout(telling);
      telling = setTimeout(() => { if (live.textContent !== text) live.textContent = text; }, 700);
    }

    const desk = el("div", { class: "try-desk" }, el("div", { class: "try-seen" }, picture.box, said),
      el("div", { class: "try-controls" }, hit.box, window.box, el("p", { class: "try-buttons" }, back)));

    details.append(el("div", { class: "try" },
      el("p", { class: "try-lead" },
        "Try another HIT or window: nothing on disk changes. What you like, copy into the plan and render it."),
      el("div", { class: "try-choices" }, screenPicker(data, state, changed), viewPicker(state, changed)),
      desk, table.table, live, lines.box,
      el("details", { class: "try-more" }, el("summary", {}, "Or as a pin"), pinLines.box, planned)));
    update();
    picture.open();
    return picture;
  }

  // --- opening it --------------------------------------------------------------------------------------------------

  const opened = new WeakMap();

  async function open(details) {
    opened.set(details, null);
    const wait = el("p", { class: "try-none", role: "status" }, "Being opened …");
    details.append(wait);
    try {
      const data = await window.postfix.load(details.dataset.key, details.dataset.src);
      wait.remove();
      opened.set(details, tryOut(details, data));
    } catch (error) {
      wait.remove();
      opened.delete(details);  // opening it once more tries again
      details.querySelector(".try-fault")?.remove();
      details.append(el("p", { class: "try-fault", role: "alert" }, `It cannot be opened: ${error.message}`));
    }
  }

  // "toggle" does not rise to the document, so it is caught on its way down.
  document.addEventListener("toggle", (event) => {
    const details = event.target;
    if (!(details instanceof HTMLDetailsElement) || !details.classList.contains("tryout")) return;
    if (details.open && !opened.has(details)) {
      details.querySelector(".try-fault")?.remove();
      open(details);
    } else if (!details.open) opened.get(details)?.stop();
  }, true);

  window.postfix.tryout = { figures, pinFigures, toml, pin };
})();

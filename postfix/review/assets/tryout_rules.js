// The rules of the try-out: what a HIT and a window make of a shot, its figures and its pictures. They are the program's own
// (postfix/plan/geometry.py, figures.py, window_brief.py, aligning.py), so that what is read on the page is what a plan
// with these lines gives. The tests hold the two against each other.
"use strict";
(() => {
  const SIDES = ["left", "right"];

  // --- the measurement, unpacked ----------------------------------------------------------------------------------

  const unpackedOf = new WeakMap();

  // Whole numbers in base64 become figures; the largest code says that nothing is known.
  function unpack(pack, length) {
    const values = new Float64Array(length).fill(NaN);
    if (!pack) return values;
    const bytes = atob(pack.codes);
    const none = 2 ** (8 * pack.bytes) - 1;
    for (let i = 0; i < length; i++) {
      let code = 0;
      for (let k = pack.bytes - 1; k >= 0; k--) code = code * 256 + bytes.charCodeAt(i * pack.bytes + k);
      if (code !== none) values[i] = (pack.least + code) / pack.per;
    }
    return values;
  }

  function measuredOf(data) {
    if (!data.measured) return null;
    if (!unpackedOf.has(data)) {
      const count = data.last - data.first + 1, bands = data.borders.length - 1, kept = data.measured;
      const made = { count, bands };
      for (const name of ["near", "far", "span", "median"]) made[name] = unpack(kept[name], count);
      for (const side of SIDES) {
        made[`${side}_rows`] = unpack(kept[`${side}_rows`], count * bands);
        made[`${side}_black`] = kept[`${side}_hidden_px`] ? unpack(kept[`${side}_hidden_px`], count * 4) : null;
      }
      unpackedOf.set(data, made);
    }
    return unpackedOf.get(data);
  }

  // --- where the eyes go (postfix/plan/geometry.py, aligning.py) --------------------------------------------------

  // 3x² − 2x³ between two keys, held before the first and after the last.
  function hitAt(keys, frame) {
    if (keys.length === 1) return keys[0][1];
    let after = 1;
    while (after < keys.length - 1 && keys[after][0] <= frame) after++;
    const [start, from] = keys[after - 1], [end, to] = keys[after];
    const share = Math.min(Math.max((frame - start) / (end - start), 0), 1);
    return from + (to - from) * (share * share * (3 - 2 * share));
  }

  // Left top, left bottom, right top, right bottom; straight lines between keys.
  function windowAt(keys, frame) {
    if (!keys.length) return [0, 0, 0, 0];
    let after = 0;
    while (after < keys.length && keys[after][0] <= frame) after++;
    if (after === 0) return keys[0].slice(1);
    const before = keys[after - 1];
    if (after === keys.length) return before.slice(1);
    const share = (frame - before[0]) / (keys[after][0] - before[0]);
    return [1, 2, 3, 4].map((i) => before[i] + (keys[after][i] - before[i]) * share);
  }

  const roundedUp = (more) => 1 + Math.max(Math.ceil(more * 1e6 - 1e-6), 0) / 1e6;

  function coveringZoom(hitPct, spareShare) {
    const size = Math.abs(hitPct) / 100;
    return roundedUp(spareShare ? (1 + size) / (1 + 2 * spareShare) - 1 : size);
  }

  function aligningZoom(data, screen, hitPx, sidesToo) {
    const halfX = data.width_px / 2, halfY = data.height_px / 2;
    let least = 1;
    screen.plan.aligned.eyes.forEach((eye, index) => {
      const shift = (index ? 1 : -1) * hitPx / 2;
      const shiftAcross = eye.cos * eye.right_px + eye.sin_across * eye.down_px;
      const shiftDown = eye.cos * eye.down_px - eye.sin_down * eye.right_px;
      for (const x of [-halfX, halfX]) for (const y of [-halfY, halfY]) {
        const across = eye.cos * (sidesToo ? x - shift : x) + eye.sin_across * y;
        const down = eye.cos * y - eye.sin_down * (x - shift);
        for (const edge of [-1, 1]) {
          least = Math.max(least, edge * across / (eye.zoom * (halfX + screen.spare_px) + edge * shiftAcross));
          least = Math.max(least, edge * down / (eye.zoom * halfY + edge * shiftDown));
        }
      }
    });
    return roundedUp(least - 1);
  }

  // The least zoom that goes with these keys, where the fill or aligning asks for one.
  function leastZoom(data, screen, keys) {
    const plan = screen.plan, covers = plan.fill === "zoom";
    if (!plan.aligned && !covers) return 1;
    return Math.max(...keys.map(([, pct]) => plan.aligned
      ? aligningZoom(data, screen, pct * data.width_px / 100, covers)
      : coveringZoom(pct, screen.spare_px / data.width_px)));
  }

  const steady = (value, digits) => Number(value.toFixed(digits)) + 0;

  const keptInside = (value, least, most) => Math.min(Math.max(value, least), most);

  // A HIT that was asked for: null leaves the plan's, a number moves all its keys so that the first has that value,
  // {held: number} makes one key of them.
  function hitKeys(data, plan, hit) {
    if (hit === null) return plan.hit;
    const most = data.hit_max_pct, first = plan.hit[0];
    if (typeof hit === "object") {
      if (plan.hit.length === 1 && hit.held === first[1]) return plan.hit;
      return [[plan.hit.length === 1 ? first[0] : data.first, steady(keptInside(hit.held, -most, most), 6)]];
    }
    if (hit === first[1]) return plan.hit;
    const values = plan.hit.map(([, pct]) => pct);
    const shift = keptInside(hit - first[1], -most - Math.min(...values), most - Math.max(...values));
    return plan.hit.map(([frame, pct]) => [frame, steady(pct + shift, 6)]);
  }

  function windowKeys(data, plan, asked) {
    if (asked === null) return plan.window;
    const [lt, lb, rt, rb] = [...asked.left, ...asked.right].map((px) => keptInside(px, 0, data.width_px));
    const same = plan.window.length === 1 && [lt, lb, rt, rb].every((px, i) => px === plan.window[0][i + 1]);
    if (same) return plan.window;
    return Math.max(lt, lb, rt, rb) > 0 ? [[data.first, lt, lb, rt, rb]] : [];
  }

  // The shot as the plan has it, with what was asked for put in its place.
  function tried(data, screen, hit, window) {
    const plan = screen.plan, keys = hitKeys(data, plan, hit), windows = windowKeys(data, plan, window);
    const moved = keys !== plan.hit;
    const zoom = moved ? Math.max(plan.zoom_floor, leastZoom(data, screen, keys)) : plan.zoom;
    return { ...plan, hit: keys, window: windows, zoom, isMoved: moved, isWindowed: windows !== plan.window };
  }

  // Whether pictures are drawn anew, and not moved as plain copies.
  const isResampled = (shot) => shot.zoom !== 1 || shot.fill === "zoom" || shot.subpixel || Boolean(shot.aligned);

  // Moves of both eyes for one HIT, positive to the right: half each where pictures are drawn anew, else whole steps,
  // the right eye taking an odd one.
  function eyeMoves(data, screen, shot, pct) {
    const hitPx = pct * data.width_px / 100, step = screen.step_px;
    if (isResampled(shot)) return [-hitPx / 2, hitPx / 2];
    const sign = hitPx < 0 ? -1 : 1;
    const steps = Math.floor(Math.abs(hitPx / step) + 0.5);
    const right = sign * Math.floor((steps + 1) / 2) * step;
    return [right - sign * steps * step + 0, right + 0];
  }

  const stretchOf = (shot) => shot.zoom * (shot.aligned ? shot.aligned.stretch : 1);

  // Columns of picture beyond the frame at a side before the move, of the left and the right eye.
  function beyondFrame(data, screen, shot, side) {
    const halfX = data.width_px / 2, halfY = data.height_px / 2, edge = side === "left" ? -1 : 1;
    if (!shot.aligned) {
      const columns = (shot.zoom - 1) * data.width_px / 2 + shot.zoom * screen.spare_px;
      return [columns, columns];
    }
    return shot.aligned.eyes.map((eye) => {
      const reach = edge * (halfX + screen.spare_px) * eye.zoom * shot.zoom;
      const rows = [-halfY, halfY].map((row) => eye.right_px * shot.zoom
        + (reach - eye.sin_across * (row - eye.down_px * shot.zoom)) / eye.cos);
      return Math.max(Math.min(...rows.map((x) => edge * x - halfX)), 0);
    });
  }

  // Columns that a move leaves black at a side, of the left and the right eye.
  function bareColumns(shot, side, moves, beyond) {
    const sign = side === "left" ? 1 : -1;
    const bare = moves.map((move, eye) => Math.max(sign * move - beyond[eye], 0));
    return shot.fill === "crop" ? [Math.max(...bare), Math.max(...bare)] : bare;
  }

  // --- what lies in front of an edge (postfix/plan/figures.py, window_brief.py) ------------------------------------

  // Black at the borders of the bands in one eye, window not counted, into `hidden`.
  function hiddenInEye(hidden, eye, frame, black, edge) {
    const { zoom, beyond, spare, sign, bare, move, heights } = edge;
    const top = black ? black[frame * 4 + eye * 2] : 0, bottom = black ? black[frame * 4 + eye * 2 + 1] : 0;
    const overlap = beyond[eye] - zoom * spare;
    for (let k = 0; k < heights.length; k++) {
      const dark = zoom * (top + (bottom - top) * (0.5 + (heights[k] - 0.5) / zoom));
      const riding = dark > 0 ? dark - overlap + sign * move[eye] : 0;
      hidden[k] = Math.max(riding, bare[eye]);
    }
  }

  // Frames in which something is in front, without stretches that are over too soon to matter.
  function lasting(inFront, screen) {
    const frames = inFront.flatMap((is, frame) => (is ? [frame] : []));
    if (screen.brief_frames <= 1 || !frames.length) return inFront;
    const kept = inFront.map(() => false);
    let start = 0;
    for (let i = 1; i <= frames.length; i++) {
      const apart = i < frames.length ? frames[i] - frames[i - 1] - 1 : Infinity;
      if (!(apart > 0 && apart >= screen.hold_frames)) continue;
      if (frames[i - 1] - frames[start] + 1 >= screen.brief_frames) {
        for (let j = start; j < i; j++) kept[frames[j]] = true;
      }
      start = i;
    }
    return kept;
  }

  // How far content lies in front of a side's edge, percent of width: worst band and frame; NaN where nothing was seen.
  function excessPct(data, screen, shot, side, movesAt) {
    const measured = measuredOf(data), { count, bands } = measured;
    const rows = measured[`${side}_rows`], black = measured[`${side}_black`];
    if (rows.every(Number.isNaN)) return NaN;
    const zoom = stretchOf(shot), own = side === "left" ? 0 : 1;
    const heights = data.borders.map((at) => keptInside(0.5 + zoom * (at - 0.5), 0, 1));
    const edge = {
      zoom, heights, beyond: beyondFrame(data, screen, shot, side), spare: screen.spare_px,
      sign: side === "left" ? 1 : -1,
    };
    const hidden = [new Float64Array(bands + 1), new Float64Array(bands + 1)];
    const toPct = 100 / data.width_px, tolerancePx = data.edge_tolerance_pct * data.width_px / 100;
    const covers = shot.window.length > 0 && shot.opacity_pct >= 100;
    const worst = new Float64Array(count).fill(-Infinity), inFront = new Array(count).fill(false);
    for (let frame = 0; frame < count; frame++) {
      edge.move = movesAt(frame);
      edge.bare = bareColumns(shot, side, edge.move, edge.beyond);
      for (const eye of [0, 1]) hiddenInEye(hidden[eye], eye, frame, black, edge);
      if (covers) {
        const [top, bottom] = windowAt(shot.window, data.first + frame).slice(own * 2, own * 2 + 2);
        for (let k = 0; k <= bands; k++) hidden[own][k] = Math.max(hidden[own][k], top + (bottom - top) * heights[k]);
      }
      const hitPx = edge.move[1] - edge.move[0];
      for (let k = 0; k < bands; k++) {
        const content = rows[frame * bands + k];
        if (Number.isNaN(content) || heights[k + 1] <= heights[k]) continue;
        const at = Math.max(hidden[1 - own][k] - hidden[own][k], hidden[1 - own][k + 1] - hidden[own][k + 1]);
        worst[frame] = Math.max(worst[frame], at - (zoom * content * data.width_px / 100 + hitPx));
      }
      inFront[frame] = worst[frame] > tolerancePx;
    }
    const counts = lasting(inFront, screen);
    let most = -Infinity;
    for (let frame = 0; frame < count; frame++) {
      most = Math.max(most, inFront[frame] && !counts[frame] ? Math.min(worst[frame], 0) : worst[frame]);
    }
    return most === -Infinity ? NaN : Math.max(most, 0) * toPct;
  }

  // --- the figures of a shot ---------------------------------------------------------------------------------------

  function middle(values) {
    const known = values.filter((value) => !Number.isNaN(value)).sort((a, b) => a - b), half = known.length >> 1;
    if (!known.length) return NaN;
    return known.length % 2 ? known[half] : (known[half - 1] + known[half]) / 2;
  }

  function extreme(values, pick) {
    let best = NaN;
    for (const value of values) if (!Number.isNaN(value)) best = Number.isNaN(best) ? value : pick(best, value);
    return best;
  }

  // The moves of both eyes at each frame of the shot, counted from its first.
  function allMoves(data, screen, shot) {
    const held = shot.hit.length === 1 ? eyeMoves(data, screen, shot, shot.hit[0][1]) : null;
    return (frame) => held || eyeMoves(data, screen, shot, hitAt(shot.hit, data.first + frame));
  }

  function measuredFigures(data, screen, shot) {
    const measured = measuredOf(data), zoom = stretchOf(shot), movesAt = allMoves(data, screen, shot);
    const hits = new Float64Array(measured.count);
    for (let frame = 0; frame < hits.length; frame++) {
      const [left, right] = movesAt(frame);
      hits[frame] = (right - left) * 100 / data.width_px;
    }
    const after = (values) => values.map((value, frame) => zoom * value + hits[frame]);
    const edges = SIDES.map((side) =>
      (data.edges_missing ? NaN : excessPct(data, screen, shot, side, movesAt)));
    return {
      near_pct: extreme(after(measured.near), Math.min),
      far_pct: extreme(after(measured.far), Math.max),
      range_pct: extreme(measured.span.map((value) => zoom * value), Math.max),
      median_pct: middle(after(measured.median)),
      left_excess_pct: edges[0],
      right_excess_pct: edges[1],
    };
  }

  // Without the measurement the log's figures are moved along; that is exact only where all frames move alike.
  function loggedFigures(data, screen, shot) {
    const before = screen.before || {}, zoom = stretchOf(shot);
    const [left, right] = eyeMoves(data, screen, shot, shot.hit[0][1]);
    const hit = shot.hit.length === 1 ? (right - left) * 100 / data.width_px : NaN;
    const from = (name) => (typeof before[name] === "number" ? before[name] : NaN);
    return {
      near_pct: zoom * from("near_pct") + hit,
      far_pct: zoom * from("far_pct") + hit,
      range_pct: zoom * from("range_pct"),
      median_pct: zoom * from("median_pct") + hit,
      left_excess_pct: NaN,
      right_excess_pct: NaN,
    };
  }

  // Why a figure is not there, in words.
  function whyNot(data, screen, name) {
    if (data.measured) {
      const left = name.includes("excess") ? data.edges_missing : "";
      return left ? `not known, because ${left}` : "not measured";
    }
    const before = screen.before && typeof screen.before[name] === "number";
    if (!before && !name.includes("excess")) return "not measured";
    if (name.includes("excess")) return `not known, because ${data.missing}`;
    return `not known, because the HIT moves inside the shot and ${data.missing}`;
  }

  // The shot as planning makes it of the pin with this HIT (postfix/plan/drafts.py): a HIT that a person gives is drawn at
  // fractions of a pixel only where the settings say so of one that is held, or of one that moves.
  function pinned(data, screen, hit) {
    const shot = tried(data, screen, hit, null), isMoving = new Set(shot.hit.map(([, pct]) => pct)).size > 1;
    return { ...shot, subpixel: screen.fine[isMoving ? "moving" : "held"] };
  }

  function figures(data, screenIndex, hit = null, window = null) {
    const screen = data.screens[screenIndex];
    return figuresOf(data, screen, tried(data, screen, hit, window));
  }

  function pinFigures(data, screenIndex, hit = null) {
    const screen = data.screens[screenIndex];
    return figuresOf(data, screen, pinned(data, screen, hit));
  }

  function figuresOf(data, screen, shot) {
    const found = data.measured ? measuredFigures(data, screen, shot) : loggedFigures(data, screen, shot);
    const ends = shot.hit.map(([, pct]) => eyeMoves(data, screen, shot, pct));
    return { ...found, zoom: shot.zoom, moves_px: ends };
  }

  // --- judging -----------------------------------------------------------------------------------------------------

  const mmOf = (screen, pct) => pct * screen.width_mm / 100;

  const degrees = (radians) => radians * 180 / Math.PI;

  // Vergence at the screen minus vergence at the point (postfix/viewing.py).
  function arcminOf(screen, pct) {
    const half = (mm) => Math.atan(mm / (2 * screen.distance_mm));
    return degrees(2 * (half(screen.eye_mm) - half(screen.eye_mm - mmOf(screen, pct)))) * 60;
  }

  const spanArcminOf = (screen, pct) => degrees(2 * Math.atan(mmOf(screen, pct) / (2 * screen.distance_mm))) * 60;

  function divergenceOf(screen, farPct) {
    const widerMm = mmOf(screen, farPct) - screen.eye_mm;
    return { wider_mm: widerMm, deg: widerMm > 0 ? degrees(2 * Math.atan(widerMm / (2 * screen.distance_mm))) : 0 };
  }

  // How far a figure lies outside its limit, in percent of width; NaN where either is not known.
  function outsideBy(data, screen, name, pct) {
    const limit = { near: screen.limits.near, far: screen.limits.far, range: screen.limits.range }[name.split("_")[0]];
    if (name.includes("excess")) return pct;
    if (limit === null || limit === undefined || Number.isNaN(pct)) return NaN;
    return name.startsWith("near") ? limit - pct : pct - limit;
  }

  function isOutside(data, name, over) {
    return over > (name.includes("excess") ? data.edge_tolerance_pct : data.limit_tolerance_pct);
  }

  // --- figures in words --------------------------------------------------------------------------------------------

  function signed(value, digits) {
    const text = Math.abs(value).toFixed(digits);
    if (Number(text) === 0) return `0${digits ? "." + "0".repeat(digits) : ""}`;
    return (value < 0 ? "\u2212" : "+") + text;
  }

  const lengthText = (mm) => `${signed(mm, Math.abs(mm) >= 99.5 ? 0 : 1)} mm`;

  const plainLength = (mm) => `${Math.abs(mm) >= 10 ? Math.abs(mm).toFixed(0) : Math.abs(mm).toFixed(1)} mm`;

  const pxText = (px) => `${signed(px, Math.abs(px - Math.round(px)) < 0.005 ? 0 : 2)} px`;

  const spanOf = (values, text) => {
    const least = Math.min(...values), most = Math.max(...values);
    return least === most ? text(least) : `${text(least)} to ${text(most)}`;
  };

  // --- the lines for the plan --------------------------------------------------------------------------------------

  function tomlNumber(value) {
    const plain = value + 0;
    return Number.isInteger(plain) && Math.abs(plain) < 1e15 ? `${plain}.0` : String(plain);
  }

  const ESCAPES = { "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\" };

  // What TOML may not hold as it stands is escaped, so that a name can neither end a comment nor a text. Half of a
  // pair of surrogates, which no file can hold, becomes the sign for what cannot be shown.
  function tomlText(text) {
    const whole = text.replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, "\ufffd");
    return `"${whole.replace(/[\u0000-\u001f\u007f"\\]/g, (sign) =>
      ESCAPES[sign] || `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`)}"`;
  }

  // A list as the plan writes it: more than three entries stand on lines of their own.
  function tomlList(entries) {
    if (entries.length <= 3) return `[${entries.join(", ")}]`;
    return `[\n${entries.map((entry) => `    ${entry},\n`).join("")}]`;
  }

  const hitText = (keys) => tomlList(keys.map(([frame, pct]) => `{frame = ${frame}, pct = ${tomlNumber(pct)}}`));

  function windowText(keys) {
    return tomlList(keys.map(([frame, ...px]) => {
      const [lt, lb, rt, rb] = px.map(tomlNumber);
      return `{frame = ${frame}, left_px = [${lt}, ${lb}], right_px = [${rt}, ${rb}]}`;
    }));
  }

  const placeText = (data, screen) => `clip ${tomlText(data.clip)}, screen ${tomlText(screen.name)}, ` +
    `shot ${tomlText(data.shot)}, frames ${data.first} to ${data.last}`;

  function toml(data, screenIndex, hit = null, window = null) {
    const screen = data.screens[screenIndex], shot = tried(data, screen, hit, window);
    const lines = [`# ${placeText(data, screen)}`];
    if (!shot.isMoved && !shot.isWindowed) return `${lines[0]}\n# Nothing differs from the plan yet.\n`;
    lines.push("# In plan.toml of this screen, in the [[shot]] of that name: in place of its lines of the same names.");
    // The windows of the old HIT need not fit the new one.
    lines.push(shot.isWindowed ? "# Then render with that plan into a new folder."
      : "# Then plan measure.csv --update plan.toml, which makes the window for this HIT, and render into a new folder.");
    if (shot.isMoved) lines.push(`hit = ${hitText(shot.hit)}`, `zoom = ${tomlNumber(shot.zoom)}`);
    if (shot.isWindowed) lines.push(`window = ${windowText(shot.window)}`);
    return `${lines.join("\n")}\n`;
  }

  // The HIT as a pin: planning then decides windows for it, on every screen.
  function pin(data, screenIndex, hit = null) {
    const screen = data.screens[screenIndex], { hit: keys } = tried(data, screen, hit, null);
    const value = keys.length === 1 ? tomlNumber(keys[0][1]) : hitText(keys);
    const which = data.shot.trim() ? `shot = ${tomlText(data.shot)}` : `frame = ${data.first}`;
    return `# ${placeText(data, screen)}\n[[pin]]\n${which}\nhit = ${value}\n`;
  }

  // --- both eyes moved, as pixels ----------------------------------------------------------------------------------

  // Where each pixel along one axis comes from: the sample before it, and the share of the one after.
  function samples(count, sourceAt) {
    const index = new Int32Array(count), share = new Float32Array(count);
    for (let i = 0; i < count; i++) {
      let at = keptInside(sourceAt(i), 0, count - 1);
      if (Math.abs(at - Math.round(at)) < 1e-4) at = Math.round(at);
      index[i] = Math.min(Math.floor(at), Math.max(count - 2, 0));
      share[i] = at - index[i];
    }
    return { index, share };
  }

  // One pixel between four samples; written out, since it runs for every pixel of every drag.
  function blend(source, out, to, from, next, below, across, down) {
    const right = from + next, under = from + below, corner = under + next;
    const a = (1 - across) * (1 - down), b = across * (1 - down), c = (1 - across) * down, d = across * down;
    out[to] = a * source[from] + b * source[right] + c * source[under] + d * source[corner];
    out[to + 1] = a * source[from + 1] + b * source[right + 1] + c * source[under + 1] + d * source[corner + 1];
    out[to + 2] = a * source[from + 2] + b * source[right + 2] + c * source[under + 2] + d * source[corner + 2];
    out[to + 3] = 255;
  }

  function blendAcross(source, out, to, from, next, across) {
    const right = from + next;
    out[to] = source[from] + (source[right] - source[from]) * across;
    out[to + 1] = source[from + 1] + (source[right + 1] - source[from + 1]) * across;
    out[to + 2] = source[from + 2] + (source[right + 2] - source[from + 2]) * across;
    out[to + 3] = 255;
  }

  // An eye's picture moved and enlarged, by straight lines between samples; what lies outside repeats the edge.
  function drawStraight(source, out, width, height, placed) {
    const columns = samples(width, (x) => (x + 0.5 - width / 2 - placed.right) / placed.zoom + width / 2 - 0.5);
    const rows = samples(height, (y) => (y + 0.5 - height / 2 - placed.down) / placed.zoom + height / 2 - 0.5);
    const next = width > 1 ? 4 : 0, below = height > 1 ? width * 4 : 0;
    for (let y = 0, to = 0; y < height; y++) {
      const line = rows.index[y] * width, down = rows.share[y];
      for (let x = 0; x < width; x++, to += 4) {
        const from = (line + columns.index[x]) * 4;
        if (down === 0) blendAcross(source, out, to, from, next, columns.share[x]);
        else blend(source, out, to, from, next, below, columns.share[x], down);
      }
    }
  }

  function drawTurned(source, out, width, height, placed) {
    const next = width > 1 ? 4 : 0, below = height > 1 ? width * 4 : 0, { eye } = placed;
    // The turn is one in the pixels of the source; those of the preview may be a little wider or higher.
    const wide = placed.scaleX / placed.scaleY;
    for (let y = 0, to = 0; y < height; y++) {
      const v = (y + 0.5 - height / 2 - placed.down) / placed.zoom;
      for (let x = 0; x < width; x++, to += 4) {
        const u = (x + 0.5 - width / 2 - placed.right) / placed.zoom;
        const across = keptInside(eye.cos * u + eye.sin_across * v * wide + width / 2 - 0.5, 0, width - 1);
        const down = keptInside(eye.cos * v - eye.sin_down * u / wide + height / 2 - 0.5, 0, height - 1);
        const i = Math.min(Math.floor(across), Math.max(width - 2, 0));
        const j = Math.min(Math.floor(down), Math.max(height - 2, 0));
        blend(source, out, to, (j * width + i) * 4, next, below, across - i, down - j);
      }
    }
  }

  // Columns that the source has beyond the frame and the preview has not: grey, since what is there is not known here.
  function greyBeyond(out, width, height, placed, spare) {
    if (!spare) return;
    for (let x = 0; x < width; x++) {
      const at = (x + 0.5 - width / 2 - placed.right) / placed.zoom + width / 2;
      if (at >= -1e-6 && at <= width + 1e-6) continue;
      for (let y = 0, to = x * 4; y < height; y++, to += width * 4) out[to] = out[to + 1] = out[to + 2] = 128;
    }
  }

  // How much of a pixel is hidden `at` columns from a side, by a window of that width with a soft edge beside it.
  function veil(at, widthPx, softPx) {
    if (softPx > 0) {
      const x = keptInside((at + 0.5 - widthPx) / softPx, 0, 1);
      return 1 - x * x * (3 - 2 * x);
    }
    return keptInside(widthPx - at, 0, 1);
  }

  // Black at a side: what the move laid bare, and a window from its top width to its bottom one.
  function hideSide(out, width, height, side, bare, top, bottom, soft, opacity) {
    for (let y = 0; y < height; y++) {
      const line = top + (bottom - top) * (y + 0.5) / height;
      const ramp = Math.min(soft, Math.max(line - bare, 0));
      const reach = Math.min(width, Math.ceil(Math.max(bare, opacity > 0 ? line + ramp : 0)));
      for (let at = 0; at < reach; at++) {
        const hidden = Math.max(opacity * veil(at, line, ramp), keptInside(bare - at, 0, 1));
        const to = (y * width + (side === "left" ? at : width - 1 - at)) * 4;
        for (let c = 0; c < 3; c++) out[to + c] *= 1 - hidden;
      }
    }
  }

  // Where an eye's picture goes, in pixels of the preview.
  function placementOf(shot, index, move, scaleX, scaleY) {
    if (!shot.aligned) return { zoom: shot.zoom, right: move * scaleX, down: 0, eye: null };
    const eye = shot.aligned.eyes[index];
    return {
      zoom: shot.zoom * eye.zoom, right: (move + shot.zoom * eye.right_px) * scaleX,
      down: shot.zoom * eye.down_px * scaleY, eye, scaleX, scaleY,
    };
  }

  // One eye of a frame as a plan with this shot gives it.
  function drawEye(data, screen, shot, index, picture, out) {
    const { width, height } = picture, scaleX = width / data.width_px, scaleY = height / data.height_px;
    const moves = eyeMoves(data, screen, shot, hitAt(shot.hit, data.frame));
    const placed = placementOf(shot, index, moves[index], scaleX, scaleY);
    if (placed.eye) drawTurned(picture.data, out, width, height, placed);
    else drawStraight(picture.data, out, width, height, placed);
    greyBeyond(out, width, height, placed, screen.spare_px);
    const window = windowAt(shot.window, data.frame), soft = shot.soft_px * scaleX, opacity = shot.opacity_pct / 100;
    for (const side of SIDES) {
      const bare = bareColumns(shot, side, moves, beyondFrame(data, screen, shot, side))[index] * scaleX;
      const own = index === SIDES.indexOf(side);
      const [top, bottom] = own ? window.slice(index * 2, index * 2 + 2) : [0, 0];
      hideSide(out, width, height, side, bare, top * scaleX, bottom * scaleX, own ? soft : 0, opacity);
    }
  }

  // Red and cyan by the matrix that the page's pictures are made with, on coded values; the array clips and rounds.
  function drawAnaglyph(left, right, out, matrix) {
    const [[a, b, c, d, e, f], [g, h, i, j, k, l], [m, n, o, p, q, r]] = matrix;
    for (let at = 0; at < out.length; at += 4) {
      const lr = left[at], lg = left[at + 1], lb = left[at + 2];
      const rr = right[at], rg = right[at + 1], rb = right[at + 2];
      out[at] = a * lr + b * lg + c * lb + d * rr + e * rg + f * rb;
      out[at + 1] = g * lr + h * lg + i * lb + j * rr + k * rg + l * rb;
      out[at + 2] = m * lr + n * lg + o * lb + p * rr + q * rg + r * rb;
      out[at + 3] = 255;
    }
  }

  function drawDifference(left, right, out) {
    for (let at = 0; at < out.length; at += 4) {
      const grey = 0.2126 * Math.abs(left[at] - right[at]) + 0.7152 * Math.abs(left[at + 1] - right[at + 1])
        + 0.0722 * Math.abs(left[at + 2] - right[at + 2]);
      out[at] = out[at + 1] = out[at + 2] = grey;
      out[at + 3] = 255;
    }
  }

  // What the other script of this part of the page uses.
  window.postfix.tryoutRules = {
    SIDES, steady, keptInside, tried, pinned, isResampled, eyeMoves, whyNot, figures, pinFigures, mmOf, arcminOf, spanArcminOf, divergenceOf,
    outsideBy, isOutside, signed, lengthText, plainLength, pxText, spanOf, toml, pin, drawEye, drawAnaglyph,
    drawDifference,
  };
})();

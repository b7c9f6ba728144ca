// The try-out on a shot's card: another HIT, another window, both eyes drawn with them, the figures reckoned anew.
// The first part holds the program's own rules (postfix/plan/geometry.py, figures.py, window_brief.py, aligning.py),
// so that what is read here is what a plan with these lines gives. The tests hold the two against each other.
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

  // Moves of both eyes for one HIT, positive to the right: half each where pictures are drawn anew, else whole steps,
  // the right eye taking an odd one.
  function eyeMoves(data, screen, shot, pct) {
    const hitPx = pct * data.width_px / 100, step = screen.step_px;
    if (shot.zoom !== 1 || shot.fill === "zoom" || shot.subpixel || shot.aligned) return [-hitPx / 2, hitPx / 2];
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

  function figures(data, screenIndex, hit = null, window = null) {
    const screen = data.screens[screenIndex];
    const shot = tried(data, screen, hit, window);
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
    lines.push("# In plan.toml of this screen, in the [[shot]] of that name: in place of its lines of the same names.",
      "# Then render with that plan into a new folder.");
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
    if (data.frame !== undefined) note.append(`Frame ${data.frame}. `);
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
      const text = `${key === "near" ? "not below" : "up to"} ${pctText(name, limit)}`;
      cell.replaceChildren(text, el("small", {}, screen.rules[key]));
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
    const over = outsideBy(data, screen, name, pct);
    // What lies in front of an edge is itself how far it is outside: it stands in the row already.
    const isFar = word === "outside" && !name.includes("excess");
    const by = isFar ? ` by ${over.toFixed(2)} % (${plainLength(mmOf(screen, over))})` : "";
    cell.textContent = `${MARKS[word]} ${word}${by}`;
  }

  // Whether the eyes must turn apart; never as a distance, which there is not beyond the eyes' own.
  function divergenceText(screen, farPct) {
    const { wider_mm: wider, deg } = divergenceOf(screen, farPct);
    const eyes = `the eyes (${screen.eye_mm} mm)`;
    if (wider > 0) return [`${deg.toFixed(2)}°`, `far is ${plainLength(wider)} wider than ${eyes}`];
    return ["none", wider === 0 ? `far is as wide as ${eyes}` : `far is ${plainLength(wider)} narrower than ${eyes}`];
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
      state.hit = keptInside(steady(value, 6), -most, most);
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
      field.show(value);
      applied.textContent = appliedText(data, screen, shot);
    }
    return { box, show };
  }

  function appliedText(data, screen, shot) {
    const moves = shot.hit.map(([, pct]) => eyeMoves(data, screen, shot, pct));
    const total = spanOf(moves.map(([left, right]) => right - left), pxText);
    const eyes = [0, 1].map((eye) => spanOf(moves.map((move) => move[eye]), pxText));
    const more = shot.zoom !== 1 ? ` Enlarged to ${(shot.zoom * 100).toFixed(2)} %.` : "";
    const kept = shot.hit.length > 1 ? " All keys move alike; the easing stays." : "";
    const step = screen.step_told ? "" : " The log does not say in what steps eyes move: 1 px is taken.";
    return `Really applied: ${total} (left eye ${eyes[0]}, right eye ${eyes[1]}).${more}${kept}${step}`;
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
    const pinned = copyBox("HIT alone, as a pin for a settings file; planning then makes the windows, on every screen",
      "Copy the pin", "try-pin");
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
      pinned.show(pin(data, state.screen, asked));
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
      el("details", { class: "try-more" }, el("summary", {}, "Or as a pin"), pinned.box)));
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

  window.postfix.tryout = { figures, toml, pin };
})();

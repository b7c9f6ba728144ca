// What the chart of a clip draws: figures of every frame, unpacked, with their timecodes, in columns that keep the
// extremes of the frames they stand for: at most MOST of them at every zoom.
"use strict";
(() => {
  const MOST = 1500;
  const MISSING = -(2 ** 31);

  // ---- packed figures -------------------------------------------------------------------------------------------

  // Whole numbers of one column, from its four planes of bytes (see postfix/review/frames.py).
  function numbersOf(planes, count) {
    const values = new Int32Array(count);
    let value = 0;
    for (let i = 0; i < count; i++) {
      const folded = planes[i] | (planes[count + i] << 8) | (planes[2 * count + i] << 16) | (planes[3 * count + i] << 24);
      value = (value + ((folded >>> 1) ^ -(folded & 1))) | 0;
      values[i] = value;
    }
    return values;
  }

  // The columns of a pack by their names; MISSING where nothing is known. All of them go through one stream: while a
  // long page is being read, every step that waits waits long.
  async function unpacked(pack, count) {
    const columns = Object.fromEntries(pack.empty.map((name) => [name, new Int32Array(count).fill(MISSING)]));
    const bytes = Uint8Array.from(atob(pack.block), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    const planes = new Uint8Array(await new Response(stream).arrayBuffer());
    const size = 4 * count;
    if (planes.length !== size * pack.names.length) throw new Error("its figures are damaged");
    pack.names.forEach((name, at) => { columns[name] = numbersOf(planes.subarray(size * at, size * (at + 1)), count); });
    return columns;
  }

  // ---- timecode, as postfix/source/timecode.py counts it --------------------------------------------------------

  const two = (number) => String(number).padStart(2, "0");

  // The timecode of a number of frames from midnight; clock is {nominal, dropped}.
  function timecodeText(frames, clock) {
    const { nominal, dropped } = clock;
    let count = frames;
    if (dropped) {
      const minute = nominal * 60 - dropped;
      const tenMinutes = nominal * 600 - 9 * dropped;
      count %= tenMinutes * 144;
      const tens = Math.floor(count / tenMinutes);
      const rest = count % tenMinutes;
      // The first minute of ten keeps all its numbers, so it is longer than the others.
      const passed = rest < nominal * 60 ? 0 : 1 + Math.floor((rest - nominal * 60) / minute);
      count += dropped * (9 * tens + passed);
    }
    const seconds = Math.floor(count / nominal);
    const minutes = Math.floor(seconds / 60);
    return `${two(Math.floor(minutes / 60) % 24)}:${two(minutes % 60)}:${two(seconds % 60)}${dropped ? ";" : ":"}`
      + two(count % nominal);
  }

  // Frames from midnight to a timecode; null where it is none at this rate.
  function framesOf(text, clock) {
    const found = /^(\d\d):(\d\d):(\d\d)[:;.](\d{2,3})$/.exec(text.trim());
    if (!found) return null;
    const [hours, minutes, seconds, frames] = found.slice(1).map(Number);
    const { nominal, dropped } = clock;
    if (hours > 23 || minutes > 59 || seconds > 59 || frames >= nominal) return null;
    if (dropped && frames < dropped && seconds === 0 && minutes % 10) return null;
    const total = hours * 60 + minutes;
    return (total * 60 + seconds) * nominal + frames - dropped * (total - Math.floor(total / 10));
  }

  const timecodeAt = (frame, clock) => (clock.start === null ? "" : timecodeText(clock.start + frame, clock));

  // The frame of the clip that a person means by a number or a timecode, or a sentence that says why there is none.
  function frameMeant(text, clock, count) {
    const typed = text.trim();
    let frame = null;
    if (/^\d+$/.test(typed)) frame = Number(typed);
    else if (clock.start === null) return "This clip has no timecode; type the number of a frame.";
    else {
      const midnight = framesOf(typed, clock);
      if (midnight === null) return `“${typed}” is neither a frame nor a timecode of this clip.`;
      const day = framesOf("23:59:59:" + two(clock.nominal - 1), clock) + 1;
      frame = (midnight - clock.start + day) % day;
    }
    if (frame < count) return frame;
    const [first, last] = [0, count - 1].map((at) => `${at}${clock.start === null ? "" : ` (${timecodeAt(at, clock)})`}`);
    return `The clip has frames ${first} to ${last}.`;
  }

  // ---- columns ----------------------------------------------------------------------------------------------------

  // First index of sorted numbers that is not below a value.
  function firstFrom(sorted, value) {
    let low = 0;
    let high = sorted.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (sorted[middle] < value) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  // Runs of frames that share a column, from frame `from` to `to`, both included. `cuts` are the sorted first frames of
  // shots. Every frame has its own column where they fit; else borders lie at multiples of a step, so that nothing
  // flickers while the view moves, and at cuts beside a shot of two steps or more. `broken[i]` is 1 where no line may
  // join column i to the next one, since a cut lies between their frames.
  function columnsOf(from, to, cuts, most = MOST) {
    const count = to - from + 1;
    let step = count <= most ? 1 : Math.ceil((2 * count) / (most - 2));
    // Where most columns hold a cut no line joins them; then they are wider, to be seen at all.
    if (step > 1 && (firstFrom(cuts, to + 1) - firstFrom(cuts, from)) * step * 2 > count) step *= 2;
    const starts = [];
    if (step === 1) for (let frame = from; frame <= to; frame++) starts.push(frame);
    else {
      const borders = [];
      for (let i = firstFrom(cuts, from + 1); i < cuts.length && cuts[i] <= to; i++) {
        const before = cuts[i] - (i ? cuts[i - 1] : 0);
        const after = (i + 1 < cuts.length ? cuts[i + 1] : to + 1) - cuts[i];
        if (before >= 2 * step || after >= 2 * step) borders.push(cuts[i]);
      }
      let next = 0;
      for (let frame = from; frame <= to; frame = (Math.floor(frame / step) + 1) * step) {
        while (next < borders.length && borders[next] < frame) starts.push(borders[next++]);
        if (borders[next] === frame) next++;
        starts.push(frame);
      }
      while (next < borders.length) starts.push(borders[next++]);
    }
    const ends = starts.map((_, i) => (i + 1 < starts.length ? starts[i + 1] - 1 : to));
    // A cut is the first frame of a shot: it parts what lies before it from what lies from it on.
    const broken = starts.map((start, i) => {
      if (i + 1 === starts.length) return 1;
      const at = firstFrom(cuts, start + 1);
      return at < cuts.length && cuts[at] <= ends[i + 1] ? 1 : 0;
    });
    return { starts, ends, broken, step };
  }

  // One value a column: the least, the most, or that of the measured frame nearest to its middle.
  function reduced(values, columns, kept) {
    const { starts, ends } = columns;
    const out = new Int32Array(starts.length);
    for (let i = 0; i < starts.length; i++) {
      const [start, end] = [starts[i], ends[i]];
      let value = MISSING;
      if (kept === "middle") {
        const middle = (start + end) >> 1;
        for (let away = 0; value === MISSING && away <= end - start; away++) {
          if (middle - away >= start) value = values[middle - away];
          if (value === MISSING && middle + away <= end) value = values[middle + away];
        }
      } else if (kept === "most") {
        for (let frame = start; frame <= end; frame++) if (values[frame] > value) value = values[frame];
      } else {
        for (let frame = start; frame <= end; frame++) {
          if (values[frame] !== MISSING && (value === MISSING || values[frame] < value)) value = values[frame];
        }
      }
      out[i] = value;
    }
    return out;
  }

  const SHARE = 0.4;

  // Points of a line: one a frame where each column is one, else both ends of each column, so that one alone is seen
  // too. A null parts what no line may join. `alone` says which points have no neighbour.
  function lineOf(columns, values, steps) {
    const { starts, ends, broken, step } = columns;
    const [x, y, alone] = [[], [], []];
    let joined = false;
    for (let i = 0; i < starts.length; i++) {
      const known = values[i] !== MISSING;
      const part = broken[i] || i + 1 === starts.length || values[i + 1] === MISSING;
      if (known) {
        const value = values[i] / steps;
        if (step === 1) {
          x.push(starts[i]);
          y.push(value);
          alone.push(!joined && part);
        } else {
          const [middle, half] = [(starts[i] + ends[i]) / 2, (ends[i] - starts[i] + 1) * SHARE];
          x.push(middle - half, middle + half);
          y.push(value, value);
          alone.push(false, false);
        }
      }
      if (part && known) {
        x.push(ends[i] + 0.5);
        y.push(null);
        alone.push(false);
      }
      joined = known && !part;
    }
    return { x, y, alone };
  }

  // Closed shapes between two lines, one a run in which both are known and no cut lies.
  function bandOf(columns, low, high, steps) {
    const { starts, ends, broken, step } = columns;
    const [x, y] = [[], []];
    let first = -1;
    for (let i = 0; i < starts.length; i++) {
      if (low[i] === MISSING || high[i] === MISSING) continue;
      if (first < 0) first = i;
      const over = broken[i] || i + 1 === starts.length || low[i + 1] === MISSING || high[i + 1] === MISSING;
      if (!over) continue;
      const [there, back] = [[], []];
      for (let k = first; k <= i; k++) {
        const half = step === 1 ? 0 : (ends[k] - starts[k] + 1) * SHARE;
        const middle = (starts[k] + ends[k]) / 2;
        for (const at of half || first === i ? [middle - (half || 0.3), middle + (half || 0.3)] : [middle]) {
          there.push([at, high[k] / steps]);
          back.push([at, low[k] / steps]);
        }
      }
      for (const [at, value] of there.concat(back.reverse())) {
        x.push(at);
        y.push(value);
      }
      x.push(null);
      y.push(null);
      first = -1;
    }
    return { x, y };
  }

  // ---- ticks and words --------------------------------------------------------------------------------------------

  // The least of 1, 2 or 5 times a power of ten that cuts a span into at most `most` parts.
  function niceStep(span, most) {
    const raw = span / most;
    const power = 10 ** Math.floor(Math.log10(raw));
    return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= raw * (1 - 1e-9));
  }

  // Frames between ticks: round numbers below a second, whole seconds, minutes or hours above.
  function frameStep(frames, nominal, most) {
    const below = [1, 2, 5, 6, 10, 12, 15, 20, 24, 25, 30].filter((step) => step < nominal && nominal % step === 0);
    const above = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200].map((seconds) => seconds * nominal);
    return [...below, ...above].find((step) => frames / step <= most) || Math.ceil(frames / most);
  }

  function signed(value, digits) {
    const text = Math.abs(value).toFixed(digits);
    return Number(text) === 0 ? text : (value < 0 ? "−" : "+") + text;
  }

  const clean = (text) => String(text).replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]/g, " ");
  const shortened = (text, most) => (text.length <= most ? text : text.slice(0, Math.max(most - 1, 1)) + "…");
  // The chart library reads some tags in its texts: signs from outside are written as entities.
  const plain = (text) => clean(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");

  function yTicks([low, high], height) {
    const step = niceStep(high - low, Math.max(3, Math.floor(height / 38)));
    const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const values = [];
    for (let i = Math.ceil(low / step - 1e-9); i <= high / step + 1e-9; i++) values.push(i * step);
    return { values, digits };
  }

  function made(tag, text = "", className = "") {
    const element = document.createElement(tag);
    element.textContent = text;
    if (className) element.className = className;
    return element;
  }

  // What the other script of this part of the page uses.
  window.postfix.chartsData = {
    MISSING,
    unpacked, timecodeText, framesOf, timecodeAt, frameMeant, firstFrom, columnsOf, reduced, lineOf,
    niceStep, frameStep, signed, clean, shortened, plain, yTicks, made, bandOf,
  };
})();

// The chart of each clip: figures of every frame over time, drawn with the chart library beside the page. At every zoom
// a line has at most MOST columns; each keeps its extremes, and zoomed in far enough each is one frame.
"use strict";
(() => {
  const {
    MISSING,
    unpacked, timecodeText, framesOf, timecodeAt, frameMeant, firstFrom, columnsOf, reduced, lineOf,
    niceStep, frameStep, signed, clean, shortened, plain, yTicks, made, bandOf,
  } = window.postfix.chartsData;

  // Marks stand this far apart at least, in pixels, so that the dashes of their line are seen between them.
  const MARKS_APART = 56;
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot"];
  const MARGIN = { l: 86, r: 272, t: 58, b: 60 };
  const PAPER = { l: 72, r: 238, t: 54, b: 54 };
  const NARROW = { l: 78, r: 16, t: 58, b: 60 };
  const FONT = 15;
  const GAP = 38;
  const MOST_UPRIGHTS = 120;
  const PANELS = [
    { key: "depth", height: 330, span: "depth", title: "Depth, % of width (up is behind the screen)" },
    { key: "left_edge", height: 132, span: "edge", title: "Left edge, % of width" },
    { key: "right_edge", height: 132, span: "edge", title: "Right edge, % of width" },
    { key: "left_window", height: 84, span: "window", title: "Window at the left, px" },
    { key: "right_window", height: 84, span: "window", title: "Window at the right, px" },
  ];
  const PAPER_PX = 690;
  const PAPER_SHARE = 0.8;
  // Which value of a column is kept, for each series.
  const KEPT = { near: "least", far: "most", median: "middle", left_edge: "least", right_edge: "least" };

  // ---- one chart --------------------------------------------------------------------------------------------------

  class Chart {
    constructor(element, data) {
      this.element = element;
      this.data = data;
      this.count = data.frames;
      this.screen = 0;
      this.from = 0;
      this.to = this.count - 1;
      this.cursor = null;
      this.paper = false;
      this.plot = element.querySelector(".chart-plot");
      this.canvas = element.querySelector(".chart-canvas");
      this.before = new Map();
      this.after = new Map();
    }

    // Columns, shots and cuts of the screen that is chosen, unpacked when it is chosen first.
    async choose(index) {
      const { data, count } = this;
      const screen = data.screens[index];
      if (!this.after.has(index)) {
        const known = this.before.get(screen.before);
        const [before, after, edges, windows] = await Promise.all([
          known ?? unpacked(data.before[screen.before], count),
          ...[screen.after, screen.edges, screen.windows].map((pack) => unpacked(pack, count)),
        ]);
        // What was measured after is written as its difference from what was before.
        for (const name of screen.after.names) after[name] = after[name].map((value, i) => value + before[name][i]);
        this.before.set(screen.before, before);
        this.after.set(index, { after, edges, windows });
      }
      this.screen = index;
      this.figures = { before: this.before.get(screen.before), ...this.after.get(index) };
      const numbers = screen.shots || data.shots.map((_, i) => i);
      this.shots = numbers.map((i) => data.shots[i]).sort((a, b) => a[2] - b[2])
        .map(([ident, name, first, last]) => ({ ident, name: clean(name), first, last }));
      this.firsts = this.shots.map((shot) => shot.first);
      this.cuts = this.firsts.filter((first) => first > 0);
    }

    shotAt(frame) {
      const at = firstFrom(this.firsts, frame + 1) - 1;
      return at >= 0 && frame <= this.shots[at].last ? this.shots[at] : null;
    }

    // ---- drawing

    palette() {
      const root = document.documentElement;
      const theme = root.getAttribute("data-theme");
      // Paper is light; the light colours are those of the page's own light theme.
      if (this.paper) root.setAttribute("data-theme", "light");
      const style = getComputedStyle(this.element);
      const names = ["sheet", "ink", "soft", "line", "faint", "before", "after", "limit", "edge"];
      const colours = Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
      if (this.paper && theme === null) root.removeAttribute("data-theme");
      else if (this.paper) root.setAttribute("data-theme", theme);
      return colours;
    }

    get font() { return this.paper ? FONT - 2 : FONT; }

    get margin() {
      if (this.paper) return PAPER;
      return this.width < 760 ? NARROW : MARGIN;
    }

    // Lower on paper, so that the chart stays on one page.
    panelHeight(index) { return PANELS[index].height * (this.paper ? PAPER_SHARE : 1); }

    get panelsHeight() { return PANELS.reduce((sum, _, i) => sum + this.panelHeight(i), GAP * (PANELS.length - 1)); }

    get height() { return this.panelsHeight + this.margin.t + this.margin.b; }

    get inner() { return Math.max(50, this.width - this.margin.l - this.margin.r); }

    domain(index) {
      const all = this.panelsHeight;
      const above = PANELS.slice(0, index).reduce((sum, _, i) => sum + this.panelHeight(i) + GAP, 0);
      return [1 - (above + this.panelHeight(index)) / all, 1 - above / all];
    }

    // What is drawn now: columns with one value a series.
    reckon() {
      const { count, from, to, figures } = this;
      const beside = Math.ceil((to - from + 1) / 8);
      this.columns = columnsOf(Math.max(0, Math.floor(from) - beside), Math.min(count - 1, Math.ceil(to) + beside), this.cuts);
      this.kept = { nothing: new Int32Array(this.columns.starts.length) };
      for (const when of ["before", "after"]) {
        for (const [name, kept] of Object.entries(KEPT)) {
          this.kept[`${name}_${when}`] = reduced(figures[when][name], this.columns, kept);
        }
      }
      for (const side of ["left", "right"]) {
        for (const end of ["top", "bottom"]) {
          this.kept[`${side}_${end}_window`] = reduced(figures.windows[`${side}_${end}`], this.columns, "most");
        }
        const ends = ["top", "bottom"].map((end) => figures.edges[`${side}_${end}`]);
        const low = ends.map((values) => reduced(values, this.columns, "least"));
        const high = ends.map((values) => reduced(values, this.columns, "most"));
        const [top, bottom] = ["top", "bottom"].map((end) => this.kept[`${side}_${end}_window`]);
        this.kept[`${side}_widest`] = top.map((value, i) => Math.max(value, bottom[i]));
        // An edge is known at both of its ends or at neither.
        this.kept[`${side}_nearest`] = low[0].map((value, i) => Math.min(value, low[1][i]));
        this.kept[`${side}_farthest`] = high[0].map((value, i) => Math.max(value, high[1][i]));
      }
    }

    traces(colours) {
      const { columns, kept, data } = this;
      const apart = Math.max(1, Math.ceil((MARKS_APART * (this.to - this.from + 1)) / this.inner));
      // Thinner lines where shots are only some pixels wide.
      const crowded = this.cutsSeen().length > MOST_UPRIGHTS;
      const out = [];
      // Marks of before stand between those of after.
      const line = (series, panel, colour, width, dash, symbol, offset = 0) => {
        const { x, y, alone } = lineOf(columns, kept[series], data.steps);
        const trace = {
          type: "scatter", mode: "lines", name: series, meta: { series }, x, y, xaxis: "x", yaxis: axis(panel),
          line: { color: colour, width: crowded ? Math.min(width, 1.4) : width, dash: crowded && dash !== "solid" ? "3px,2px" : dash },
          hoverinfo: "skip", connectgaps: false, showlegend: false,
        };
        out.push(trace);
        if (!symbol) return;
        // A frame without neighbours has no line and always has its mark.
        const is = (i) => y[i] !== null && (alone[i] || (columns.step === 1 && (x[i] + offset) % apart === 0));
        const only = (values) => values.filter((_, i) => is(i));
        const marker = { color: colour, size: 7, symbol, line: { width: 1.5, color: colour } };
        out.push({ ...trace, mode: "markers", marker, name: `${series}_marks`, meta: {}, x: only(x), y: only(y) });
      };
      const band = (low, high, panel, fillcolor, pattern, name) => ({
        type: "scatter", mode: "none", name, meta: { band: name }, ...bandOf(columns, kept[low], kept[high], data.steps),
        xaxis: "x", yaxis: axis(panel), fill: "toself", fillcolor, hoverinfo: "skip", showlegend: false,
        ...(pattern ? { fillpattern: pattern } : {}),
      });
      const pattern = { shape: "/", size: 7, solidity: 0.18, fgcolor: colours.edge, bgcolor: "rgba(0,0,0,0)", fillmode: "overlay" };
      out.push(band("near_after", "far_after", 0, faded(colours.after, 0.15), null, "after_band"));
      const { before, after, edge } = colours;
      const half = apart >> 1;
      for (const name of ["near", "far"]) {
        line(`${name}_after`, 0, after, 2.6, "solid", "square");
        line(`${name}_before`, 0, before, 2, "7px,4px", "circle-open", half);
      }
      line("median_after", 0, after, 1.2, "solid", "diamond");
      line("median_before", 0, before, 2, "2px,4px", "diamond-open", half);
      ["left", "right"].forEach((side, i) => {
        out.push(band(`${side}_nearest`, `${side}_farthest`, 1 + i, "rgba(0,0,0,0)", pattern, `${side}_edge_band`));
        line(`${side}_farthest`, 1 + i, edge, 1, "solid");
        line(`${side}_nearest`, 1 + i, edge, 1.6, "solid");
        line(`${side}_edge_after`, 1 + i, after, 2.6, "solid", "square");
        line(`${side}_edge_before`, 1 + i, before, 2, "7px,4px", "circle-open", half);
        out.push(band("nothing", `${side}_widest`, 3 + i, faded(after, 0.15), null, `${side}_window_band`));
        line(`${side}_top_window`, 3 + i, after, 2.6, "solid", "square");
        line(`${side}_bottom_window`, 3 + i, after, 2, "7px,4px", "square-open", half);
      });
      return out;
    }

    spanOf(index) {
      const { data, kept } = this;
      const panel = PANELS[index];
      const whole = data.spans[panel.span];
      if (!this.ticked("fit")) return whole;
      const names = {
        depth: ["near_before", "far_before", "near_after", "far_after"],
        edge: ["left", "right"].flatMap((side) => [`${side}_edge_before`, `${side}_edge_after`, `${side}_nearest`, `${side}_farthest`]),
        window: ["left", "right"].flatMap((side) => [`${side}_top_window`, `${side}_bottom_window`]),
      }[panel.span];
      let [low, high] = [Infinity, -Infinity];
      for (const name of names) {
        kept[name].forEach((value, i) => {
          if (value === MISSING || this.columns.ends[i] < this.from || this.columns.starts[i] > this.to) return;
          low = Math.min(low, value / data.steps);
          high = Math.max(high, value / data.steps);
        });
      }
      if (low > high) return whole;
      const pad = Math.max(0.08 * (high - low), panel.span === "window" ? 1 : 0.05);
      return [low - pad, high + pad];
    }

    ticked(what) { return this.element.querySelector(`[data-show=${what}]`).checked; }

    layout(colours) {
      const { from, to, data, inner } = this;
      const font = { family: getComputedStyle(this.element).fontFamily, size: this.font, color: colours.ink };
      const layout = {
        width: this.width, height: this.height, autosize: false, margin: { ...this.margin, pad: 0 }, font,
        paper_bgcolor: colours.sheet, plot_bgcolor: colours.sheet, showlegend: false, hovermode: false,
        dragmode: this.element.querySelector(`[name="${data.ident}-drag"]:checked`).value,
        shapes: [], annotations: [],
      };
      const ticks = this.timeTicks();
      layout.xaxis = {
        range: [from - 0.5, to + 0.5], minallowed: -0.5, maxallowed: this.count - 0.5, anchor: axis(PANELS.length - 1),
        tickmode: "array", tickvals: ticks, ticktext: ticks.map((frame) => {
          const code = timecodeAt(frame, data.clock);
          return code ? `${frame}<br>${code}` : String(frame);
        }),
        ticks: "outside", tickcolor: colours.soft, gridcolor: colours.faint, zeroline: false, automargin: false, tickangle: 0,
      };
      PANELS.forEach((panel, i) => {
        const span = this.spanOf(i);
        const { values, digits } = yTicks(span, this.panelHeight(i));
        const domain = this.domain(i);
        layout["yaxis" + (i ? i + 1 : "")] = {
          domain, range: span, fixedrange: true, zeroline: false, gridcolor: colours.faint, anchor: "x", automargin: false,
          tickmode: "array", tickvals: values,
          ticktext: values.map((v) => (panel.span === "window" ? v.toFixed(digits) : `${signed(v, digits)} %`)),
        };
        layout.shapes.push({
          type: "rect", xref: "paper", yref: "paper", x0: 0, x1: 1, y0: domain[0], y1: domain[1], layer: "below",
          line: { color: colours.line, width: 1 },
        });
        if (panel.span !== "window" && span[0] < 0 && span[1] > 0) {
          layout.shapes.push(level(i, 0, colours.soft, 1.4, "solid"));
        }
        layout.annotations.push({
          text: panel.title, xref: "paper", yref: "paper", x: 0, y: domain[1], xanchor: "left", yanchor: "bottom",
          yshift: i ? 3 : 24, showarrow: false, font: { size: this.font, color: colours.ink, weight: 600 },
        });
      });
      this.addLimits(layout, colours);
      this.addCuts(layout, colours);
      this.addNames(layout, colours, inner);
      return layout;
    }

    timeTicks() {
      const { from, to, data, count, inner } = this;
      const step = frameStep(to - from + 1, data.clock.nominal, Math.max(2, inner / 126));
      const ahead = data.clock.start === null ? 0 : data.clock.start % step;
      const ticks = [];
      const beside = (to - from) / 4;
      const low = Math.max(0, Math.ceil(from - beside));
      const high = Math.min(count - 1, to + beside);
      for (let frame = Math.ceil((low + ahead) / step) * step - ahead; frame <= high; frame += step) ticks.push(frame);
      return ticks;
    }

    // Limits of the screens: a line each, the chosen screen's with what lies beyond them hatched, and words beside them.
    addLimits(layout, colours) {
      const { data, screen } = this;
      const span = layout.yaxis.range;
      const words = [];
      const others = this.ticked("limits");
      data.screens.forEach((one, i) => {
        const chosen = i === screen;
        if (!chosen && !others) return;
        const [near, far] = [one.near_pct, one.far_pct].map((v) => Math.min(Math.max(v, span[0]), span[1]));
        layout.shapes.push({
          type: "rect", xref: "paper", yref: "y", x0: 0, x1: 1, y0: near, y1: far, layer: "below", line: { width: 0 },
          fillcolor: faded(colours.limit, chosen ? 0.05 : 0.03),
        });
        for (const [which, pct] of [["near", one.near_pct], ["far", one.far_pct]]) {
          const label = `${which} ${signed(pct, 2)} % `;
          if (pct < span[0] || pct > span[1]) continue;
          layout.shapes.push(level(0, pct, colours.limit, chosen ? 2.4 : 1.4, DASHES[i % DASHES.length]));
          words.push({ pct, text: label + plain(shortened(clean(one.name), 14)), chosen });
        }
      });
      if (span[0] < 0 && span[1] > 0) words.push({ pct: 0, text: "the screen", chosen: true, zero: true });
      if (this.margin === NARROW) return;
      this.placeLabels(layout, words, colours);
    }

    // Words at the right of their levels, pushed apart; only the chosen screen's where there are too many.
    placeLabels(layout, words, colours) {
      const height = this.panelHeight(0);
      const room = Math.floor(height / 20);
      const span = layout.yaxis.range;
      const used = (words.length > room ? words.filter((word) => word.chosen) : words).sort((a, b) => b.pct - a.pct);
      const wanted = used.map((word) => ((span[1] - word.pct) / (span[1] - span[0])) * height);
      const at = [...wanted];
      for (let i = 1; i < at.length; i++) at[i] = Math.max(at[i], at[i - 1] + 20);
      if (at.length) at[at.length - 1] = Math.min(at[at.length - 1], height);
      for (let i = at.length - 2; i >= 0; i--) at[i] = Math.min(at[i], at[i + 1] - 20);
      used.forEach((word, i) => layout.annotations.push({
        text: word.text, xref: "paper", yref: "y", x: 1, y: word.pct, ax: 18, ay: at[i] - wanted[i], xanchor: "left",
        showarrow: true, arrowhead: 0, arrowwidth: 1, arrowcolor: colours.soft, standoff: 0, align: "left",
        font: { size: this.font, color: word.zero ? colours.soft : colours.ink, weight: word.chosen && !word.zero ? 700 : 400 },
      }));
    }

    cutsSeen() { return this.cuts.slice(firstFrom(this.cuts, this.from), firstFrom(this.cuts, this.to + 1)); }

    // Cuts as one shape: uprights in every panel where they are few, else short marks at the top.
    addCuts(layout, colours) {
      const seen = this.cutsSeen();
      this.uprights = seen.length <= MOST_UPRIGHTS;
      const domains = PANELS.map((_, i) => this.domain(i));
      let path = "";
      let last = -Infinity;
      const apart = (this.to - this.from + 1) / this.inner;
      for (const cut of seen) {
        const x = cut - 0.5;
        if (this.uprights) path += domains.map(([y0, y1]) => `M${x},${y0}L${x},${y1}`).join("");
        else if (x - last >= 2 * apart) {
          path += `M${x},1L${x},${1 + 8 / this.panelsHeight}`;
          last = x;
        }
      }
      if (path) {
        layout.shapes.push({
          type: "path", path, xref: "x", yref: "paper", layer: "below",
          line: { color: colours.soft, width: this.uprights ? 1.4 : 1, dash: this.uprights ? "2px,3px" : "solid" },
        });
      }
    }

    // Names of shots where there is room for them.
    addNames(layout, colours, inner) {
      const { from, to } = this;
      const scale = inner / (to - from + 1);
      const least = 20 / scale;
      for (let i = Math.max(0, firstFrom(this.firsts, from) - 1); i < this.shots.length; i++) {
        const shot = this.shots[i];
        if (shot.first > to) break;
        const [start, end] = [Math.max(shot.first, from), Math.min(shot.last, to) + 1];
        if (end - start < least) continue;
        const room = Math.floor(((end - start) * scale - 10) / 9.2);
        if (room < Math.min(shot.name.length, 9)) continue;
        const text = shortened(shot.name, room);
        layout.annotations.push({
          text: plain(text), xref: "x", yref: "paper", x: (start + end) / 2 - 0.5, y: 1, yanchor: "bottom", yshift: 2,
          showarrow: false, font: { size: this.font, color: colours.soft },
        });
      }
    }

    draw() {
      this.width = this.paper ? PAPER_PX : Math.round(this.plot.clientWidth);
      if (!this.width) return;
      const colours = this.palette();
      this.drawnIn = JSON.stringify(colours);
      this.reckon();
      this.drawing = true;
      window.Plotly.react(this.canvas, this.traces(colours), this.layout(colours), {
        displayModeBar: false, displaylogo: false, scrollZoom: false, doubleClick: false, showTips: false, editable: false,
        showLink: false, showAxisDragHandles: true, showAxisRangeEntryBoxes: false, responsive: false, typesetMath: false,
      });
      this.drawing = false;
      const { step } = this.columns;
      const cuts = this.uprights ? "" : " Cuts are marks at the top.";
      this.element.querySelector(".chart-detail").textContent = step === 1
        ? `Every frame is drawn.${cuts}`
        : `Up to ${step} frames share a column, which keeps their extremes (of the median: one frame's); zoom in for every frame.${cuts}`;
      this.placeCursor();
    }

    // ---- what part is shown

    view(from, to) {
      const least = Math.min(this.count, 6);
      let span = Math.min(Math.max(to - from + 1, least), this.count);
      if (!Number.isFinite(span)) span = this.count;
      let start = Math.min(Math.max((from + to + 1 - span) / 2, 0), this.count - span);
      if (!Number.isFinite(start)) start = 0;
      this.from = start;
      this.to = start + span - 1;
      this.draw();
    }

    zoom(factor, about = this.cursor === null ? (this.from + this.to) / 2 : this.cursor) {
      const span = this.to - this.from + 1;
      const wanted = Math.min(Math.max(span * factor, Math.min(this.count, 6)), this.count);
      const share = (about + 0.5 - this.from) / span;
      const start = Math.min(Math.max(about + 0.5 - share * wanted, 0), this.count - wanted);
      this.view(start, start + wanted - 1);
    }

    shift(share) {
      const span = this.to - this.from + 1;
      const start = Math.min(Math.max(this.from + share * span, 0), this.count - span);
      this.view(start, start + span - 1);
    }

    goTo(frame) {
      const span = Math.min(this.to - this.from + 1, 20 * this.data.clock.nominal);
      this.view(frame - (span - 1) / 2, frame + (span - 1) / 2);
      this.point(frame);
    }

    // ---- the cursor, and what it says

    point(frame) {
      this.cursor = Math.min(Math.max(frame, 0), this.count - 1);
      if (this.cursor < this.from || this.cursor > this.to) {
        const half = (this.to - this.from) / 2;
        this.view(this.cursor - half, this.cursor + half);
      }
      this.placeCursor();
      this.fillBox(this.cursor, this.cursor);
      this.element.querySelector(".chart-said").textContent = this.sentence(this.cursor);
    }

    xOf(frame) { return this.margin.l + ((frame + 0.5 - this.from) / (this.to - this.from + 1)) * this.inner; }

    placeCursor(frame = this.cursor) {
      const line = this.plot.querySelector(".chart-cursor");
      const seen = frame !== null && frame >= this.from - 0.5 && frame <= this.to + 0.5;
      line.hidden = !seen;
      if (!seen) return;
      line.style.left = `${this.xOf(frame) - 1}px`;
      line.style.top = `${this.margin.t}px`;
      line.style.height = `${this.panelsHeight}px`;
    }

    // Figures of a run of frames, as words; of several the extremes.
    figuresOf(first, last) {
      const columns = { starts: [first], ends: [last] };
      const { figures, data } = this;
      const value = (values, kept) => reduced(values, columns, kept)[0];
      const pct = (number) => (number === MISSING ? "not measured" : `${signed(number / data.steps, 2)} %`);
      const px = (side) => {
        const widths = ["top", "bottom"].map((end) => value(figures.windows[`${side}_${end}`], "most"));
        if (widths.includes(MISSING)) return "not known";
        const [top, bottom] = widths.map((number) => number / data.steps);
        const share = (number) => ((number * 100) / data.width_px).toFixed(2);
        if (!top && !bottom) return "none";
        if (top === bottom) return `${top} px (${share(top)} %)`;
        return `top ${top} px (${share(top)} %), bottom ${bottom} px (${share(bottom)} %)`;
      };
      const edge = (side) => {
        const least = ["top", "bottom"].map((end) => value(figures.edges[`${side}_${end}`], "least"));
        return least.includes(MISSING) ? "not known" : pct(Math.min(...least));
      };
      const row = (words, name) => [
        words, pct(value(figures.before[name], KEPT[name])), pct(value(figures.after[name], KEPT[name])),
      ];
      return {
        rows: [
          row("Far", "far"), row("Median", "median"), row("Near", "near"),
          row("At the left edge", "left_edge"), row("At the right edge", "right_edge"),
        ],
        single: [
          ["Left edge itself", edge("left")], ["Right edge itself", edge("right")],
          ["Window left", px("left")], ["Window right", px("right")],
        ],
      };
    }

    heading(first, last) {
      const { clock } = this.data;
      if (first === last) return [`Frame ${first}`, timecodeAt(first, clock)].filter(Boolean).join(", ");
      const codes = clock.start === null ? "" : `, ${timecodeAt(first, clock)} to ${timecodeAt(last, clock)}`;
      return `Frames ${first} to ${last}${codes}`;
    }

    shotWords(first, last) {
      const [one, other] = [this.shotAt(first), this.shotAt(last)];
      if (!one || !other) return "no shot";
      return one === other ? `Shot ${one.name}` : `Shots ${one.name} to ${other.name}`;
    }

    sentence(frame) {
      const { rows, single } = this.figuresOf(frame, frame);
      const list = (at) => rows.map((row) => `${row[0].toLowerCase()} ${row[at]}`).join(", ");
      const rest = single.map(([words, text]) => `${words.toLowerCase()} ${text}`).join(", ");
      const { name } = this.data.screens[this.screen];
      return `${this.heading(frame, frame)}. ${this.shotWords(frame, frame)}. Before: ${list(1)}. `
        + `After, for ${clean(name)}: ${list(2)}; ${rest}.`;
    }

    // The box beside the pointer or the cursor.
    fillBox(first, last) {
      const box = this.plot.querySelector(".chart-box");
      const { rows, single } = this.figuresOf(first, last);
      const table = made("table");
      const cells = (row, names) => {
        const line = made("tr");
        row.forEach((text, i) => line.append(made(names[i] || "td", text)));
        table.append(line);
      };
      cells([first === last ? "" : "extremes of them", "before", "after"], ["th", "th", "th"]);
      rows.forEach((row) => cells(row, ["th"]));
      single.forEach(([words, text]) => {
        cells([words, text], ["th"]);
        table.lastChild.lastChild.colSpan = 2;
      });
      const { name } = this.data.screens[this.screen];
      box.replaceChildren(
        made("p", this.heading(first, last)), made("p", this.shotWords(first, last)),
        made("p", `After, for ${clean(name)}`), table,
      );
      box.hidden = false;
      // At the other end of the chart, so that what is pointed at stays to be seen.
      const left = this.xOf((first + last) / 2) > this.margin.l + this.inner / 2;
      const [before, behind] = this.margin === NARROW ? [4, 4] : [this.margin.l + 8, this.margin.r + 8];
      box.style.left = left ? `${before}px` : "auto";
      box.style.right = left ? "auto" : `${behind}px`;
      this.boxed = [first, last];
    }

    hideBox() {
      this.plot.querySelector(".chart-box").hidden = true;
      this.boxed = null;
      this.placeCursor();
    }

    // ---- mouse

    // The frame under a pointer; null beside the panels.
    frameUnder(event) {
      const box = this.plot.getBoundingClientRect();
      const x = event.clientX - box.left - this.plot.clientLeft - this.margin.l;
      const y = event.clientY - box.top - this.plot.clientTop;
      if (x < 0 || x >= this.inner || y < this.margin.t || y > this.margin.t + this.panelsHeight) return null;
      const frame = Math.floor(this.from + (x / this.inner) * (this.to - this.from + 1));
      return Math.min(Math.max(frame, 0), this.count - 1);
    }

    hover(event) {
      const frame = this.frameUnder(event);
      if (frame === null || event.buttons) {
        this.hideBox();
        return;
      }
      const { starts, ends } = this.columns;
      const at = firstFrom(starts, frame + 1) - 1;
      if (this.boxed && this.boxed[0] === starts[at] && this.boxed[1] === ends[at]) return;
      this.fillBox(starts[at], ends[at]);
      this.placeCursor((starts[at] + ends[at]) / 2);
    }

    // To the card of the shot that a frame belongs to.
    open(frame) {
      const shot = this.shotAt(frame);
      const card = shot && document.getElementById(shot.ident);
      const said = this.element.querySelector(".chart-said");
      if (!card) said.textContent = `There is no card of ${shot ? `shot ${shot.name}` : "this frame"} on the page.`;
      else if (window.location.hash === `#${shot.ident}`) window.dispatchEvent(new HashChangeEvent("hashchange"));
      else window.location.hash = `#${shot.ident}`;
    }

    key(event) {
      if (event.target !== this.plot || event.ctrlKey || event.metaKey || event.altKey) return;
      const at = this.cursor === null ? Math.round((this.from + this.to) / 2) : this.cursor;
      const far = event.shiftKey ? this.data.clock.nominal : 1;
      const next = firstFrom(this.firsts, at + 1);
      const actions = {
        ArrowLeft: () => this.point(at - far),
        ArrowRight: () => this.point(at + far),
        Home: () => this.point(0),
        End: () => this.point(this.count - 1),
        PageDown: () => this.point(next < this.firsts.length ? this.firsts[next] : this.count - 1),
        PageUp: () => this.point(this.firsts[Math.max(firstFrom(this.firsts, at) - 1, 0)] || 0),
        "+": () => this.zoom(0.5),
        "=": () => this.zoom(0.5),
        "-": () => this.zoom(2),
        "−": () => this.zoom(2),
        _: () => this.zoom(2),
        0: () => this.view(0, this.count - 1),
        Enter: () => this.open(at),
        Escape: () => this.hideBox(),
      };
      const action = actions[event.key];
      if (!action) return;
      event.preventDefault();
      action();
    }

    listen() {
      const { element, plot } = this;
      let pressed = null;
      plot.addEventListener("pointermove", (event) => this.hover(event));
      plot.addEventListener("pointerleave", () => this.hideBox());
      plot.addEventListener("pointerdown", (event) => { pressed = event.button === 0 ? event : null; }, true);
      window.addEventListener("pointerup", (event) => {
        const still = pressed && Math.hypot(event.clientX - pressed.clientX, event.clientY - pressed.clientY) < 5;
        const frame = still ? this.frameUnder(event) : null;
        pressed = null;
        if (frame === null) return;
        this.cursor = frame;
        this.open(frame);
      });
      plot.addEventListener("wheel", (event) => {
        if (!event.ctrlKey) return;
        event.preventDefault();
        const frame = this.frameUnder(event);
        if (frame !== null) this.zoom(event.deltaY > 0 ? 1.25 : 0.8, frame);
      }, { passive: false });
      plot.addEventListener("blur", () => this.hideBox());
      plot.addEventListener("keydown", (event) => this.key(event));
      const all = () => this.view(0, this.count - 1);
      const buttons = {
        earlier: () => this.shift(-0.5), later: () => this.shift(0.5), in: () => this.zoom(0.5), out: () => this.zoom(2), all,
      };
      for (const button of element.querySelectorAll("[data-do]")) {
        button.addEventListener("click", () => buttons[button.dataset.do]());
      }
      for (const box of element.querySelectorAll("[data-show]")) box.addEventListener("change", () => this.draw());
      for (const radio of element.querySelectorAll(`[name="${this.data.ident}-drag"]`)) {
        radio.addEventListener("change", () => this.draw());
      }
      for (const radio of element.querySelectorAll(`[name="${this.data.ident}-screen"]`)) {
        radio.addEventListener("change", async () => {
          await this.choose(Number(radio.value));
          this.draw();
          this.hideBox();
        });
      }
      element.querySelector(".chart-goto").addEventListener("submit", (event) => {
        event.preventDefault();
        const meant = frameMeant(element.querySelector(".chart-goto input").value, this.data.clock, this.count);
        if (typeof meant === "number") this.goTo(meant);
        else element.querySelector(".chart-said").textContent = meant;
      });
      this.canvas.on("plotly_relayout", () => {
        if (this.drawing) return;
        const [low, high] = this.canvas.layout.xaxis.range;
        if (low !== this.from - 0.5 || high !== this.to + 0.5) this.view(low + 0.5, high - 0.5);
      });
      new ResizeObserver(() => {
        if (!this.paper && Math.round(plot.clientWidth) !== this.width) this.draw();
      }).observe(plot);
    }
  }

  function axis(panel) { return "y" + (panel ? panel + 1 : ""); }

  function level(panel, pct, color, width, dash) {
    return { type: "line", xref: "paper", yref: axis(panel), x0: 0, x1: 1, y0: pct, y1: pct, layer: "between", line: { color, width, dash } };
  }

  // A colour of the style sheet (#rgb or #rrggbb) let through.
  function faded(colour, alpha) {
    const hex = colour.length === 4 ? colour.replace(/[^#]/g, "$&$&") : colour;
    const [red, green, blue] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
    return `rgba(${red},${green},${blue},${alpha})`;
  }

  // ---- all charts of the page -------------------------------------------------------------------------------------

  const charts = new Map();

  async function start(element, isFirst = false) {
    if (element.dataset.state !== "waiting") return;
    element.dataset.state = "loading";
    const message = element.querySelector(".chart-message");
    message.hidden = false;
    try {
      if (!("DecompressionStream" in window)) throw new Error("this browser cannot unpack the figures; a newer one can");
      // Both are asked for before anything is waited for, and the figures are unpacked while the library is read: while a
      // long page is being read, every step that waits waits long.
      const library = window.postfix.script(element.dataset.plotly, isFirst);
      library.catch(() => {});
      const data = await window.postfix.load(element.dataset.key, element.dataset.src, isFirst);
      const chart = new Chart(element, data);
      const checked = element.querySelector(`[name="${data.ident}-screen"]:checked`);
      await chart.choose(checked ? Number(checked.value) : 0);
      await library;
      for (const part of element.querySelectorAll(".chart-controls, .chart-frame")) part.hidden = false;
      chart.draw();
      chart.listen();
      charts.set(data.ident, chart);
      message.hidden = true;
      element.dataset.state = "ready";
    } catch (error) {
      message.textContent = `The chart cannot be drawn: ${error.message}. What it shows is said in words below.`;
      element.dataset.state = "failed";
    }
  }

  const redraw = (paper) => charts.forEach((chart) => {
    chart.paper = paper;
    chart.draw();
  });

  function begin() {
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) if (entry.isIntersecting) start(entry.target);
    }, { rootMargin: "1200px" });
    // The first chart stands above this script and is wanted at once; others come while the rest of the page is read.
    const first = document.querySelector(".depth-chart[data-state=waiting]");
    if (first) start(first, true);
    const watch = () => document.querySelectorAll(".depth-chart[data-state=waiting]").forEach((one) => seen.observe(one));
    watch();
    document.addEventListener("DOMContentLoaded", watch);
    // The rest follow one by one while nothing else is to be done, so that they are there on paper too.
    const rest = async () => {
      const element = document.querySelector(".depth-chart[data-state=waiting]");
      if (!element) return;
      await start(element);
      later(rest);
    };
    const later = (what) => ("requestIdleCallback" in window ? window.requestIdleCallback(what) : setTimeout(what, 200));
    window.addEventListener("load", () => later(rest));
    // Another theme, by the system or by the reader: drawn anew only where colours differ.
    const themed = () => charts.forEach((chart) => {
      if (!chart.paper && JSON.stringify(chart.palette()) !== chart.drawnIn) chart.draw();
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", themed);
    new MutationObserver(themed).observe(document.documentElement, { attributeFilter: ["data-theme"] });
    matchMedia("print").addEventListener("change", (event) => redraw(event.matches));
    window.addEventListener("beforeprint", () => redraw(true));
    window.addEventListener("afterprint", () => redraw(false));
  }

  window.postfix.charts = {
    of: (ident) => charts.get(ident), timecodeText, framesOf, frameMeant, columnsOf, reduced, lineOf, unpacked, niceStep, frameStep,
    plain, MISSING,
  };
  begin();
})();

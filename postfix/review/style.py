"""The look of the review page: one style sheet, light and dark, on screen and on paper."""

CSS = """
:root { color-scheme: light dark;
  --ground: #f6f6f4; --sheet: #ffffff; --ink: #1b1d20; --soft: #5c6168; --line: #d9dad6; --faint: #ecece8;
  --before: #a84a00; --after: #005a9c; --after-fill: #005a9c26; --limit: #1b1d20; --bad: #9b1c31; --edge: #5c6168; }
@media (prefers-color-scheme: dark) { :root {
  --ground: #141619; --sheet: #1d2024; --ink: #e8e9ea; --soft: #a3a8af; --line: #363a40; --faint: #272b30;
  --before: #f2a154; --after: #6fb7ee; --after-fill: #6fb7ee30; --limit: #e8e9ea; --bad: #ff9aa8; --edge: #a3a8af; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--ground); color: var(--ink);
  font: 15px/1.5 system-ui, "Segoe UI", "Liberation Sans", "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
main { max-width: 1160px; margin: 0 auto; padding: 2rem 1.25rem 4rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .4rem; }
h2 { font-size: 1.3rem; margin: 3rem 0 .6rem; padding-top: .9rem; border-top: 2px solid var(--ink); }
h3 { font-size: 1.02rem; margin: 1.8rem 0 .4rem; }
p { margin: .4rem 0; max-width: 75ch; }
a { color: var(--after); text-decoration-thickness: 1px; text-underline-offset: 3px; }
.soft, figcaption, .facts dt { color: var(--soft); }
.small, figcaption { font-size: .86rem; }
.caution { border-left: 4px solid var(--ink); background: var(--faint); padding: .7rem 1rem; margin: 1.2rem 0; }
.facts { display: flex; flex-wrap: wrap; gap: .3rem 2.2rem; margin: .8rem 0; }
.facts div { min-width: 6rem; }
.facts dt { font-size: .82rem; }
.facts dd { margin: 0; font-variant-numeric: tabular-nums; }
.box { overflow-x: auto; margin: .6rem 0; }
.box.tall { max-height: 34rem; overflow-y: auto; }
.box.tall thead th { position: sticky; top: 0; background: var(--ground); }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: .92rem; overflow-wrap: normal; }
th, td { text-align: left; padding: .32rem .9rem .32rem 0; border-bottom: 1px solid var(--line); vertical-align: top; }
thead th { color: var(--soft); font-weight: 600; border-bottom: 1px solid var(--soft); }
th[scope=row] { font-weight: 600; }
.card th[scope=row] { white-space: nowrap; }
td.n, th.n { text-align: right; white-space: nowrap; }
td .small { display: block; color: var(--soft); }
.status { font-weight: 600; white-space: nowrap; }
.status.bad, .flags { color: var(--bad); }
.flags { margin: .5rem 0; padding-left: 0; list-style: none; font-weight: 600; }
.flags li { margin: .15rem 0; }
.card { background: var(--sheet); border: 1px solid var(--line); border-radius: 6px; padding: 1rem 1.2rem 1.1rem;
  margin: 1rem 0; }
.card.bad { border-left: 5px solid var(--bad); }
.card header { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; align-items: baseline; }
.card h3, .card h4 { margin: 0; font-size: 1.08rem; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: .9rem; margin: .9rem 0 .6rem; }
.halves { display: grid; grid-template-columns: minmax(0, 3fr) minmax(0, 2fr); gap: .4rem 2rem; }
.done dt { color: var(--soft); font-size: .82rem; margin-top: .35rem; }
.done dd { margin: 0; }
figure { margin: 0; }
figure img { width: 100%; height: auto; display: block; background: #000; border-radius: 2px; }
.nothing { border: 1px dashed var(--soft); padding: 1.5rem 1rem; color: var(--soft); border-radius: 2px; }
details summary { cursor: pointer; color: var(--after); }
details .pair { grid-template-columns: 1fr; }
.chart { display: block; width: 100%; min-width: 760px; height: auto; font: 13px system-ui, "Liberation Sans",
  "DejaVu Sans", sans-serif; }
.chart text { fill: var(--ink); }
.chart .plot { fill: var(--sheet); stroke: var(--line); }
.chart .grid { stroke: var(--faint); fill: none; }
.chart .tickmark, .chart .cut { stroke: var(--soft); fill: none; }
.chart .cut { stroke-dasharray: 1 3; }
.chart .end { text-anchor: end; } .chart .mid { text-anchor: middle; }
.chart .soft, .chart .axis { fill: var(--soft); }
.chart .shot, .chart .panel { font-weight: 600; }
.chart .zero { stroke: var(--soft); stroke-width: 1; fill: none; }
.chart .zero-word { fill: var(--soft); }
.chart .limit { stroke: var(--limit); stroke-width: 1.6; stroke-dasharray: 12 4; fill: none; }
.chart .limit-word { font-weight: 600; }
.chart .after-band { fill: var(--after-fill); stroke: var(--after); stroke-width: 1.6; }
.chart .before-band { fill: none; stroke: var(--before); stroke-width: 1.6; stroke-dasharray: 5 3; }
.chart .after-median { fill: none; stroke: var(--after); stroke-width: 1.6; stroke-dasharray: 2 3; }
.chart .before-line { fill: none; stroke: var(--before); stroke-width: 1.8; stroke-dasharray: 5 3; }
.chart .after-line { fill: none; stroke: var(--after); stroke-width: 2; }
.chart .edge-band { stroke: var(--edge); stroke-width: 1.4; }
.chart .hatch { stroke: var(--edge); stroke-width: 1.6; }
.legend { display: flex; flex-wrap: wrap; gap: .2rem 1.4rem; padding: 0; margin: .2rem 0 1rem; list-style: none;
  font-size: .86rem; color: var(--soft); }
.legend svg { width: 34px; height: 14px; vertical-align: -2px; margin-right: .35rem; min-width: 0; display: inline; }
footer { margin-top: 3rem; border-top: 1px solid var(--line); padding-top: .8rem; color: var(--soft);
  font-size: .86rem; }
@media (max-width: 980px) { .halves { grid-template-columns: minmax(0, 1fr); } }
@media (max-width: 640px) { .pair { grid-template-columns: 1fr; } }
@media print { :root { --ground: #fff; --sheet: #fff; --ink: #000; --soft: #444; --line: #bbb; --faint: #eee;
    --before: #a84a00; --after: #005a9c; --after-fill: #005a9c26; --limit: #000; --bad: #9b1c31; --edge: #444; }
  body { font-size: 11px; } main { padding: 0; max-width: none; }
  .card, figure, .chart, tr { break-inside: avoid; } .box.tall { max-height: none; } .chart { min-width: 0; } }
"""

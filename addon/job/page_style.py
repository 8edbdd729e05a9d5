"""How the printed report looks: one calm column, figures that line up, nothing fetched from anywhere."""

STYLE = """
:root { --ink: #26221e; --soft: #7b7269; --line: #ddd5ca; --paper: #fbf9f5; --good: #4f6b52; --bad: #9c3b24; }
* { box-sizing: border-box; }
html { background: var(--paper); color: var(--ink); }
body { max-width: 60rem; margin: 0 auto; padding: 3.5rem 2rem 4rem;
  font: 400 1rem/1.55 "Iowan Old Style", "Palatino Linotype", Palatino, "Book Antiqua", "URW Palladio L", "P052",
    Georgia, serif; }
h1 { margin: 0; font-size: 2.9rem; font-weight: 400; line-height: 1.1; letter-spacing: -0.01em;
  overflow-wrap: anywhere; }
h2 { margin: 3.2rem 0 .9rem; padding-top: .7rem; border-top: 1px solid var(--ink); font-size: 1.25rem;
  font-weight: 400; }
h3 { margin: 1.1rem 0 .1rem; font-size: 1rem; font-weight: 600; }
p { margin: .35rem 0; max-width: 42rem; }
a { color: inherit; }
.lead { color: var(--soft); font-size: 1.1rem; margin-top: .5rem; }
.verdict { margin: 1.6rem 0 0; padding: .7rem 1rem; border-left: 3px solid var(--good); background: #f1efe7; }
.verdict.bad { border-color: var(--bad); background: #f7ebe5; }
.verdict ul { margin: .3rem 0 0; padding-left: 1.1rem; }
.plates { display: grid; grid-template-columns: repeat(6, 1fr); gap: .9rem; margin-top: 2rem; }
.plates figure { grid-column: span 2; margin: 0; break-inside: avoid; }
.plates figure.wide { grid-column: span 3; }
.plates img { display: block; width: 100%; background: #efebe3; border-radius: 2px; }
.closeups { display: grid; grid-template-columns: repeat(4, 1fr); gap: .9rem; margin: 1rem 0; }
.map { margin: 1rem 0; break-inside: avoid; }
.map img { display: block; width: 100%; }
.closeups figure { margin: 0; break-inside: avoid; }
.closeups img { display: block; width: 100%; border-radius: 2px; }
.photographs { display: grid; grid-template-columns: 1fr 1fr 1fr; gap: 1.1rem .9rem; margin-top: .8rem; }
.photographs figure { margin: 0; break-inside: avoid; }
.photographs svg { display: block; width: 100%; border-radius: 2px; }
.legend { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; max-width: none; color: var(--soft); font-size: .82rem; }
.legend svg { width: .95rem; height: .95rem; margin-right: .35rem; vertical-align: -.15rem; background: #8d857b;
  border-radius: 2px; }
figcaption { margin-top: .35rem; color: var(--soft); font-size: .82rem; }
table { width: 100%; border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums lining-nums; }
th { padding: .3rem .8rem .3rem 0; border-bottom: 1px solid var(--line); color: var(--soft); font-weight: 400;
  text-align: left; vertical-align: bottom; }
td { padding: .38rem .8rem .38rem 0; border-bottom: 1px solid var(--line); vertical-align: top; }
td.number, th.number { text-align: right; white-space: nowrap; }
td:last-child, th:last-child { padding-right: 0; }
tr { break-inside: avoid; }
.whole { white-space: nowrap; }
.soft { color: var(--soft); }
.good { color: var(--good); }
.bad { color: var(--bad); font-weight: 600; }
.unit { color: var(--soft); font-size: .85em; }
.facts { columns: 2; column-gap: 2.5rem; margin: .2rem 0 0; font-size: .86rem; }
.facts div { display: flex; justify-content: space-between; gap: 1rem; break-inside: avoid;
  border-bottom: 1px dotted var(--line); padding: .12rem 0; font-variant-numeric: tabular-nums lining-nums; }
.facts span:last-child { text-align: right; overflow-wrap: anywhere; }
.step table { margin: .3rem 0 .6rem; font-size: .78rem; }
.step p { font-size: .86rem; max-width: none; }
.set { margin-top: .5rem; padding-left: .9rem; border-left: 2px solid var(--line); color: var(--soft); }
.step { margin-bottom: 1.5rem; }
.step h3 { display: flex; justify-content: space-between; }
.step h3 .soft { font-weight: 400; font-size: .84rem; }
ol, ul.plain { max-width: 42rem; padding-left: 1.3rem; }
li { margin: .3rem 0; }
.cautions { display: grid; grid-template-columns: 1fr 1fr; gap: .2rem 2.5rem; font-size: .9rem; }
.cautions div { break-inside: avoid; }
footer { margin-top: 3rem; padding-top: .7rem; border-top: 1px solid var(--line); color: var(--soft);
  font-size: .8rem; }
@media (max-width: 44rem) {
  body { padding: 1.5rem 1rem; }
  .plates, .cautions, .closeups { grid-template-columns: 1fr 1fr; }
  .plates figure, .plates figure.wide { grid-column: span 1; }
  .cautions { grid-template-columns: 1fr; }
  .facts { columns: 1; }
}
@page { size: A4; margin: 15mm 16mm 16mm; }
@media print {
  :root { --soft: #4d463f; --line: #b9afa3; --bad: #7a2410; }
  html { background: none; font-size: 9.6pt; }
  body { max-width: none; padding: 0; }
  h2 { margin-top: 2.2rem; break-after: avoid; }
  h3 { break-after: avoid; }
  .verdict, .verdict.bad { background: none; }
  .verdict.bad { border-left-width: 9px; }
}
"""

"use strict";
// The page's own script: takes rows of the chosen filters, gives them to the figures, the tables and the CSV files.
(() => {
const page = JSON.parse(document.getElementById("data").textContent);
const specs = JSON.parse(document.getElementById("specs").textContent);
const ALL = "all";
const THIN_BIN = 0.05;
const byId = (id) => document.getElementById(id);
const rowsOf = (columns) => {
  const names = Object.keys(columns);
  const count = names.length ? columns[names[0]].length : 0;
  return Array.from({length: count}, (_, i) => Object.fromEntries(names.map((name) => [name, columns[name][i]])));
};
const tables = Object.fromEntries(Object.entries(page.tables).map(([name, columns]) => [name, rowsOf(columns)]));
const months = Object.fromEntries(page.periods.map((period) => [period.key, new Set(period.months)]));
const filters = ["line", "recipe", "period", "flaw", "by", "measured", "earlier", "later"].filter(byId);
const views = {};
const shown = {};

const say = (label) => label.replaceAll("_", " ");
const number = (value, digits = 1) => value === null || value === undefined ? "unknown"
  : value.toLocaleString("en-GB", {maximumFractionDigits: digits, minimumFractionDigits: digits});
const percent = (value) => value === null ? "unknown" : `${number(100 * value, 0)} %`;
const interval = (value, low, high, digits = 1) =>
  value === null ? "unknown" : `${number(value, digits)} [${number(low, digits)}, ${number(high, digits)}]`;

function choice() {
  return Object.fromEntries(filters.map((name) => [name, byId(name).value]));
}

function remember(chosen) {
  history.replaceState(null, "", "#" + new URLSearchParams(chosen).toString());
}

function recall() {
  for (const [name, value] of new URLSearchParams(location.hash.slice(1))) {
    if (filters.includes(name) && [...byId(name).options].some((option) => option.value === value)) {
      byId(name).value = value;
    }
  }
}

const same = (row, chosen, ...names) => names.every((name) => row[name] === chosen[name]);

function mixRows(chosen) {
  const rows = tables.mix.filter((row) => same(row, chosen, "line", "recipe", "period"))
    .map((row) => ({...row, name: say(row.label), raw_share: row.n ? row.raw / row.n : null, zero: 0}))
    .sort((a, b) => (b.share ?? -1) - (a.share ?? -1));
  const edge = Math.max(0.01, ...rows.map((row) => Math.max(row.high ?? 0, row.raw_share ?? 0)));
  return rows.map((row) => ({...row, edge: row.label === chosen.flaw ? edge : 0}));
}

function timeRows(chosen) {
  const label = chosen.flaw;
  return tables.weeks.filter((row) => same(row, chosen, "line", "recipe") && row.label === label);
}

function monthRows(chosen) {
  const rows = tables.mix.filter((row) => same(row, chosen, "line", "recipe") && row.label === chosen.flaw);
  const whole = rows.find((row) => row.period === ALL);
  return rows.filter((row) => row.period !== ALL).map((row) => ({...row, month: row.period,
    raw_per_km: row.metres ? 1000 * row.raw / row.metres : null, mean: whole ? whole.per_km : null}));
}

function pairWords(chosen) {
  const {earlier, later} = chosen;
  if (earlier === later) return "Choose two months to compare them.";
  const [first, second] = [earlier, later].sort();
  const row = tables.pairs.find((one) => same(one, chosen, "line", "recipe") && one.label === chosen.flaw
    && one.earlier === first && one.later === second);
  const told = `${say(chosen.flaw)}, ${later} over ${earlier}`;
  if (!row) return `${told}: unknown, nothing was welded in one of them, or the sections do not support a correction.`;
  const ratio = later === row.later ? [row.ratio, row.low, row.high] : [1 / row.ratio, 1 / row.high, 1 / row.low];
  return `${told}: ${interval(...ratio, 2)} times the corrected rate.`;
}

function changeRows(chosen) {
  return tables.changes.filter((row) => same(row, chosen, "line", "recipe") && row.label === chosen.flaw);
}

// Poisson interval from the square root of the count, good enough to be looked at (Anscombe's transformation).
const around = (count, metres) =>
  [-0.98, 0.98].map((away) => 1000 * Math.max(0, Math.sqrt(count + 0.375) + away) ** 2 / metres);

function placeRows(chosen) {
  const within = (row) => (chosen.line === ALL || row.line === chosen.line)
    && (chosen.recipe === ALL || row.recipe === chosen.recipe) && months[chosen.period].has(row.month)
    && row.measured === chosen.measured;
  const bins = new Map();
  for (const row of tables.cover.filter(within)) {
    const bin = bins.get(row.at) ?? {at: row.at, count: 0, metres: 0};
    bin.metres += row.metres;
    bins.set(row.at, bin);
  }
  for (const row of tables.places.filter((one) => within(one) && one.label === chosen.flaw)) {
    const bin = bins.get(row.at);
    if (bin) bin.count += row.count;
  }
  const rows = [...bins.values()].filter((bin) => bin.metres > 0).sort((a, b) => a.at - b.at);
  const total = rows.reduce((sum, bin) => sum + bin.count, 0);
  const metres = rows.reduce((sum, bin) => sum + bin.metres, 0);
  // A bin that few seams reach has an interval as wide as the figure, and would hide all others.
  const enough = THIN_BIN * Math.max(...rows.map((bin) => bin.metres));
  return rows.map((bin) => {
    const [low, high] = bin.metres < enough ? [null, null] : around(bin.count, bin.metres);
    const width = page.bins[chosen.measured];
    return {...bin, zero: 0, to: bin.at + width, middle: bin.at + width / 2,
      per_km: 1000 * bin.count / bin.metres, low, high, mean: 1000 * total / metres};
  });
}

function markRows(chosen) {
  return tables.marks.filter((row) => row.label === chosen.flaw
    && (chosen.line === ALL || row.line === chosen.line));
}

function markBands(chosen) {
  return markRows(chosen).filter((row) => row.measured === chosen.measured);
}

function groupRows(chosen) {
  return tables.groups.filter((row) => row.by === chosen.by && row.label === chosen.flaw)
    .map((row) => ({...row, stands_out: row.p_adjusted !== null && row.p_adjusted < 1 - page.level}));
}

function healthRows(chosen) {
  return tables.health.filter((row) => chosen.line === ALL || row.line === chosen.line)
    .map((row) => ({...row, series: `${row.line} ${row.channel}`}));
}

const figures = {
  mix: {data: {mix: mixRows}, columns: {
    "flaw": (r) => r.name, "labelled": (r) => number(r.raw, 0), "of n": (r) => number(r.n, 0),
    "corrected share": (r) => r.share === null ? `unknown${r.note ? ": " + r.note : ""}`
      : `${percent(r.share)} [${percent(r.low)}, ${percent(r.high)}]`,
    "per km": (r) => interval(r.per_km, r.per_km_low, r.per_km_high, 2),
    "is the largest": (r) => r.largest === null ? "unknown" : percent(r.largest)},
    tell: (rows) => rows.filter((r) => r.share !== null).map((r) => `${r.name} ${percent(r.share)}`).join(", ")},
  time: {data: {time: timeRows, changes: changeRows}, columns: {
    "week": (r) => r.week, "flaws": (r) => number(r.flaws, 0), "seams": (r) => number(r.seams, 0),
    "km": (r) => number(r.metres / 1000, 2), "per km": (r) => number(r.per_km, 2),
    "limits": (r) => r.low === null ? "unknown" : `${number(r.low, 2)} to ${number(r.high, 2)}`, "alarm": (r) => r.alarm},
    tell: (rows) => `${rows.filter((r) => r.alarm).length} of ${rows.length} weeks with an alarm`},
  months: {data: {months: monthRows}, columns: {
    "month": (r) => r.month, "labelled": (r) => number(r.raw, 0), "of n": (r) => number(r.n, 0),
    "corrected, per km": (r) => interval(r.per_km, r.per_km_low, r.per_km_high, 2),
    "as labelled, per km": (r) => number(r.raw_per_km, 2)},
    tell: (rows) => rows.filter((r) => r.per_km !== null).map((r) => `${r.month} ${number(r.per_km, 0)}`).join(", ")},
  places: {data: {places: placeRows, marks: markBands}, columns: {
    "from": (r) => number(r.at, 0), "to": (r) => number(r.to, 0), "flaws": (r) => number(r.count, 0),
    "metres inspected": (r) => number(r.metres, 0), "per km": (r) => number(r.per_km, 2)},
    tell: (rows) => `${rows.reduce((sum, r) => sum + r.count, 0)} flaws along the seam`},
  groups: {data: {groups: groupRows}, columns: {
    "group": (r) => r.group, "labelled": (r) => number(r.flaws, 0), "seams": (r) => number(r.seams, 0),
    "per km": (r) => interval(r.per_km, r.low, r.high, 2), "which rate": (r) => r.basis,
    "p against the others": (r) => r.p_adjusted === null ? "unknown"
      : r.p_adjusted < 0.0001 ? "< 0.0001" : number(r.p_adjusted, 4)},
    tell: (rows) => rows.slice(0, 3).map((r) => `${r.group} ${number(r.per_km, 2)} per km`).join(", ")},
  health: {data: {health: healthRows}, columns: {
    "line": (r) => r.line, "run": (r) => r.at, "channel": (r) => r.channel,
    "against expected, dB": (r) => number(r.deviation_db, 2), "state": (r) => r.state},
    tell: (rows) => `${rows.length} values`},
};

function cell(row, text, tag = "td") {
  const element = document.createElement(tag);
  element.textContent = text;
  if (tag === "td" && /^[\d.,\s%<−-]+$/.test(text)) element.className = "number";
  if (tag === "th") element.scope = "row";
  row.append(element);
}

function fill(name, rows) {
  const {columns} = figures[name];
  const body = byId(`table-${name}`);
  if (!body) return;
  body.replaceChildren(...rows.map((one) => {
    const line = document.createElement("tr");
    Object.values(columns).forEach((text, k) => cell(line, String(text(one)), k ? "td" : "th"));
    return line;
  }));
}

// Items of a list; one that names an example seam gets a button that shows its trace.
function list(id, rows, tell, nothing) {
  byId(id).hidden = !rows.length && !nothing;
  byId(id).replaceChildren(...(rows.length ? rows : [null]).map((row, k) => {
    const item = document.createElement("li");
    item.textContent = row ? tell(row) : nothing;
    const key = row && row.example ? page.pictures[row.example] : undefined;
    if (key !== undefined) item.append(" ", ...example(row.example, key, `${id}-picture-${k}`));
    return item;
  }));
}

function example(seam, key, id) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = `show seam ${seam}`;
  button.dataset.seam = key;
  button.setAttribute("aria-expanded", "false");
  button.setAttribute("aria-controls", id);
  button.addEventListener("click", () => picture(button));
  const place = document.createElement("div");
  place.className = "seam-picture";
  place.id = id;
  place.hidden = true;
  return [button, place];
}

function words(chosen) {
  const period = page.periods.find((one) => one.key === chosen.period).name;
  const part = (value, name, none) => value === ALL ? none : `${name} ${value}`;
  return `${part(chosen.line, "line", "all lines")}, ${part(chosen.recipe, "recipe", "all recipes")}, ${period}`;
}

function summarise(chosen) {
  const rows = shown.mix;
  const some = rows[0];
  byId("choice").textContent = some
    ? `${words(chosen)}: ${number(some.seams, 0)} seams, ${number(some.metres / 1000, 2)} km, ${number(some.n, 0)} indications.`
    : `${words(chosen)}: no seam was decided on.`;
  const even = tables.even.find((row) => row.label === chosen.flaw && row.measured === chosen.measured);
  byId("even").textContent = even ? `All seams together, ${even.measured}: evenly spread with p `
    + `${even.p < 0.002 ? "< 0.002" : number(even.p, 3)}, n = ${number(even.n, 0)} (Kolmogorov and Smirnov's distance, simulated).` : "";
  list("group-examples", groupRows(chosen).filter((r) => r.stands_out && r.example),
    (r) => `${r.by} ${r.group}: ${number(r.per_km, 1)} per km, n = ${number(r.flaws, 0)} on ${number(r.seams, 0)} seams.`, "");
  const changes = tables.changes.filter((row) => same(row, chosen, "line", "recipe") && row.label === chosen.flaw);
  list("changes", changes, (r) => `${say(r.label)}: from ${number(r.before, 2)} to ${number(r.after, 2)} per km from the week of `
    + `${r.week} [${r.low}, ${r.high}], probability ${number(r.probability, 2)}`, `${say(chosen.flaw)}: no change found.`);
  if (byId("pair")) byId("pair").textContent = pairWords(chosen);
  list("marks", markRows(chosen), (r) => `line ${r.line}, ${number(r.from_mm, 0)} to ${number(r.to_mm, 0)} mm ${r.measured}, `
    + `${r.first} to ${r.last}: ${r.seams} seams where ${number(r.expected, 1)} were expected by chance, p ${r.p < 0.001 ? "< 0.001" : number(r.p, 3)}.`,
    `${say(chosen.flaw)}: nothing comes back at one place.`);
}

async function update() {
  const chosen = choice();
  for (const [name, figure] of Object.entries(figures)) {
    const entries = Object.entries(figure.data).map(([data, rows]) => [data, rows(chosen)]);
    shown[name] = entries[0][1];
    fill(name, shown[name]);
    const holder = byId(`figure-${name}`);
    if (!holder) continue;
    const caption = byId(`tell-${name}`);
    caption.textContent = shown[name].length ? figure.tell(shown[name]) : "Nothing to show for this choice.";
    holder.setAttribute("aria-label", `${holder.dataset.name}. ${caption.textContent}`);
    holder.hidden = !shown[name].length;
    if (!shown[name].length) continue;
    if (!views[name]) views[name] = await drawn(name, holder, Object.fromEntries(entries));
    for (const [data, rows] of entries) views[name].data(data, rows);
    await views[name].runAsync();
  }
  document.querySelectorAll(".flaw-name").forEach((element) => { element.textContent = say(chosen.flaw); });
  summarise(chosen);
  remember(chosen);
}

function csv(rows) {
  const names = Object.keys(rows[0] ?? {}).filter((name) => !["zero", "edge", "name", "middle", "series"].includes(name));
  // A cell that begins like a formula would be run by a spreadsheet.
  const safe = (value) => {
    const text = value === null || value === undefined ? "" : String(value);
    const guarded = typeof value === "string" && /^[=+\-@\t\r]/.test(text) ? "'" + text : text;
    return /[",\n]/.test(guarded) ? `"${guarded.replaceAll('"', '""')}"` : guarded;
  };
  return [names, ...rows.map((row) => names.map((name) => safe(row[name])))].map((cells) => cells.join(",")).join("\r\n") + "\r\n";
}

function save(name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([csv(shown[name])], {type: "text/csv"}));
  link.download = `${name}.csv`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

function picture(button) {
  const place = byId(button.getAttribute("aria-controls"));
  const open = button.getAttribute("aria-expanded") === "true";
  button.setAttribute("aria-expanded", String(!open));
  place.hidden = open;
  if (!open && !place.childElementCount) {
    place.append(byId(`picture-${button.dataset.seam}`).content.cloneNode(true));
  }
}

async function drawn(name, holder, rows) {
  const spec = specs[name];
  if (name === "health") rows.levels = page.levels.map((at_db) => ({at_db}));
  for (const source of spec.data) if (source.name in rows) source.values = rows[source.name];
  const options = {mode: "vega", renderer: "svg", actions: false, defaultStyle: false, logLevel: 1};
  const {view} = await vegaEmbed(holder, spec, options);
  // The holder is one picture with a text; its table holds the figures.
  holder.querySelector("svg").setAttribute("aria-hidden", "true");
  if (name === "mix") {
    view.addEventListener("click", (_, item) => {
      const label = item && item.datum && item.datum.label;
      if (label && label !== byId("flaw").value) { byId("flaw").value = label; update(); }
    });
  }
  return view;
}

function start() {
  recall();
  filters.forEach((name) => byId(name).addEventListener("change", update));
  byId("reset").addEventListener("click", () => { filters.forEach((name) => { byId(name).selectedIndex = 0; }); update(); });
  document.querySelectorAll("[data-csv]").forEach((button) => button.addEventListener("click", () => save(button.dataset.csv)));
  document.querySelectorAll("[data-seam]").forEach((button) => button.addEventListener("click", () => picture(button)));
  window.addEventListener("hashchange", () => { recall(); update(); });
  return update();
}

start().then(() => { document.documentElement.dataset.ready = "yes"; });
})();

// entries.csv, read and written.
const COLUMNS = ["kind", "feature", "mate", "result", "unit", "jaws", "along", "by", "note"];

const quoted = (text) => (/[",\r\n]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

function csvText(steps, groups) {
  const lines = [COLUMNS];
  for (const step of steps) {
    const blank = { result: "", unit: isTried(step) ? "" : "mm", by: "", note: "" };
    for (const entry of groups.get(step.key) ?? [blank]) {
      const row = { ...step, ...entry };
      lines.push(COLUMNS.map((name) => row[name]));
    }
  }
  for (const row of aboutRows()) lines.push(COLUMNS.map((name) => row[name] ?? ""));
  // The mark at the start keeps spreadsheets from taking UTF-8 for a local code page.
  return "\ufeff" + lines.map((line) => line.map(quoted).join(",") + "\r\n").join("");
}

// Split text into cells. Quotes may hold separators, line ends and doubled quotes.
function csvCells(text, separator) {
  const lines = [];
  let line = [], cell = "", inside = false;
  const endCell = () => { line.push(cell); cell = ""; };
  const endLine = () => { endCell(); lines.push(line); line = []; };
  for (let at = 0; at < text.length; at += 1) {
    const sign = text[at];
    if (inside) {
      if (sign !== '"') cell += sign;
      else if (text[at + 1] === '"') { cell += '"'; at += 1; }
      else inside = false;
    } else if (sign === '"' && cell === "") inside = true;
    else if (sign === separator) endCell();
    else if (sign === "\n") endLine();
    else cell += sign;
  }
  if (cell !== "" || line.length) endLine();
  return lines;
}

// What a spreadsheet saved: UTF-8, UTF-16 or Windows-1252, as the checks read it.
function decoded(bytes) {
  const [first, second] = bytes;
  if (first === 0xff && second === 0xfe) return new TextDecoder("utf-16le").decode(bytes);
  if (first === 0xfe && second === 0xff) return new TextDecoder("utf-16be").decode(bytes);
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    return new TextDecoder("windows-1252").decode(bytes);
  }
}

// A decimal comma typed bare into a comma-separated file stands in two cells. A unit is never made
// of digits, so there is one way to read it.
function rejoined(line, at) {
  const digits = (cell) => /^\d+$/.test(cell?.trim() ?? "");
  const here = at.result;
  if (at.unit !== here + 1 || !digits(line[here]) || !digits(line[here + 1])) return line;
  return [...line.slice(0, here), `${line[here].trim()},${line[here + 1].trim()}`, ...line.slice(here + 2)];
}

// Ids in another letter case, jaws left blank: what the checks read as the same is the same here.
function settled(row) {
  const idOf = (text) => idsByLowerCase.get(text.toLowerCase()) ?? text;
  const kind = row.kind.toLowerCase();
  const feature = idOf(row.feature);
  const inside = INSIDES.includes(record.features[feature]?.form);
  return {
    ...row, kind, feature, mate: idOf(row.mate), along: row.along.toLowerCase(),
    unit: row.unit || (isTried({ kind }) ? "" : "mm"),
    jaws: isTried({ kind }) ? "" : row.jaws.toLowerCase() || (inside ? "inside" : "outside"),
  };
}

// Returns { rows, about } or { fault } in words. A row without result and note is a step still to
// do. A file is taken whole or not at all, so that nobody has to look for what is missing.
function csvRows(file) {
  // Some spreadsheets begin with a line such as sep=; which they never show.
  const text = file.replace(/^\ufeff/, "").replace(/\r\n?/g, "\n").replace(/^"?sep=.?"?\n/i, "");
  const head = text.split("\n", 1)[0];
  const separator = [",", ";", "\t"].reduce((best, sign) =>
    head.split(sign).length > head.split(best).length ? sign : best);
  const [names = [], ...lines] = csvCells(text, separator);
  const at = Object.fromEntries(names.map((name, index) => [name.trim().toLowerCase(), index]));
  const missing = ["kind", "feature", "result"].filter((name) => !(name in at));
  if (missing.length) return { fault: `The first line must name the columns; it lacks ${missing.join(", ")}.` };
  const rows = [], about = [], refused = [];
  lines.forEach((cells, index) => {
    const line = separator === "," ? rejoined(cells, at) : cells;
    const row = settled(Object.fromEntries(COLUMNS.map((name) => [name, (line[at[name]] ?? "").trim()])));
    if (row.kind === "about") return about.push({ feature: row.feature.toLowerCase(), note: row.note || row.result });
    if (row.result === "" && row.note === "") return undefined;
    const why = row.result === "" && ["fit", "size", "zero", "hold"].includes(row.kind) ? "" : refusalOf(row);
    if (why) return refused.push({ line: index + 2, why });
    return rows.push(row);
  });
  const another = ofAnother(about);
  return another || refused.length ? { fault: another || refusedWords(refused) } : { rows, about };
}

function ofAnother(about) {
  const said = Object.fromEntries(about.map(({ feature, note }) => [feature, note]));
  const names = [said.machine, said.material].filter(Boolean).join(", ");
  const of = names ? ` (${names})` : "";
  const { coupon, run } = record.identity;
  if (said.coupon && said.coupon !== coupon) {
    return `It holds entries of coupon ${said.coupon.split(" ")[0]}${of}, but this is the page of ${coupon.split(" ")[0]}.`;
  }
  if (said.run && run && said.run !== run) return `It holds entries of another run${of}, but this is the page of ${record.run}.`;
  return "";
}

const MOST_REFUSED = 6;

function refusedWords(refused) {
  const first = refused.slice(0, MOST_REFUSED).map(({ line, why }) => `Line ${line}: ${why}.`);
  if (refused.length > MOST_REFUSED) first.push(`And ${refused.length - MOST_REFUSED} more.`);
  const unknown = refused.filter(({ why }) => why.startsWith("this coupon has no")).length;
  if (unknown > 2) first.push(`${unknown} rows name pieces that this coupon does not have: the file may be of another coupon.`);
  return first.join(" ");
}

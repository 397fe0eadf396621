// entries.csv, read and written.
const COLUMNS = ["kind", "feature", "mate", "result", "unit", "jaws", "along", "by", "note"];

const quoted = (text) => (/[",\r\n]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

function csvText(steps, groups) {
  const lines = [COLUMNS];
  for (const step of steps) {
    const blank = { result: "", unit: step.kind === "size" ? "mm" : "", by: "", note: "" };
    for (const entry of groups.get(step.key) ?? [blank]) {
      const row = { ...step, ...entry };
      lines.push(COLUMNS.map((name) => row[name]));
    }
  }
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
    else if (sign !== "\r") cell += sign;
  }
  if (cell !== "" || line.length) endLine();
  return lines;
}

// Ids in another letter case, jaws left blank: what the checks read as the same is the same here.
function settled(row) {
  const idOf = (text) => idsByLowerCase.get(text.toLowerCase()) ?? text;
  const kind = row.kind.toLowerCase();
  const feature = idOf(row.feature);
  const inside = ["hole", "slot"].includes(record.features[feature]?.form);
  return {
    ...row, kind, feature, mate: idOf(row.mate), along: row.along.toLowerCase(),
    unit: row.unit || (kind === "size" ? "mm" : ""),
    jaws: kind === "size" ? row.jaws.toLowerCase() || (inside ? "inside" : "outside") : "",
  };
}

// Returns { rows } or { fault } in words. A row without result and note is a step still to do.
function csvRows(file) {
  const text = file.replace(/^\ufeff/, "");
  const head = text.split("\n", 1)[0];
  const separator = [",", ";", "\t"].reduce((best, sign) =>
    head.split(sign).length > head.split(best).length ? sign : best);
  const [names = [], ...lines] = csvCells(text, separator);
  const at = Object.fromEntries(names.map((name, index) => [name.trim().toLowerCase(), index]));
  const missing = ["kind", "feature", "result"].filter((name) => !(name in at));
  if (missing.length) return { fault: `The first line must name the columns; ${missing.join(", ")} not found.` };
  const rows = [], strange = [];
  lines.forEach((line, index) => {
    const row = settled(Object.fromEntries(COLUMNS.map((name) => [name, (line[at[name]] ?? "").trim()])));
    if (row.result === "" && row.note === "") return;
    if (row.kind !== "fit" && row.kind !== "size") strange.push(index + 2);
    else rows.push(row);
  });
  if (strange.length) return { fault: `Line ${strange.join(", ")}: kind must be fit or size. Nothing was brought in.` };
  return { rows };
}

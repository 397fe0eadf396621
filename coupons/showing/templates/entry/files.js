// entries.csv out of the page and into it.
const entriesText = () => csvText(steps, groups);

function saveFile() {
  const link = document.createElement("a");
  const address = URL.createObjectURL(new Blob([entriesText()], { type: "text/csv" }));
  link.href = address;
  link.download = "entries.csv";
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  act({ do: "saved" });
  refresh();
  say("entries.csv saved");
}

function fillText() {
  $("as-text").value = entriesText();
}

async function bringIn(file) {
  const { rows, fault } = csvRows(decoded(new Uint8Array(await file.arrayBuffer())));
  const fresh = fault ? [] : newRows(rows);
  const strangers = fresh.filter((row) => !listedKeys.has(stepKey(row))).length;
  if (fresh.length) addEntries(fresh, `${fresh.length} brought in`);
  const parts = [`${fresh.length} entries brought in, ${rows?.length - fresh.length} were here already.`];
  const unknown = fresh.filter((row) => !isKnownResult(row)).map((row) => `${row.feature} “${row.result}”`);
  if (unknown.length) parts.push(`Not a grade or a number: ${unknown.join(", ")}. Remove it there and enter it again.`);
  if (strangers) parts.push(`${strangers} are not on this coupon's list; they stand at the end of All steps.`);
  $("bring-says").textContent = fault ?? parts.join(" ");
  refresh();
  // Go on where the file left off.
  const step = stepNow();
  if (step && isDone(step)) show(nextOpen(step));
}

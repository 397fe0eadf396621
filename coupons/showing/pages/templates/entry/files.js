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
  const { rows, about, fault } = csvRows(decoded(new Uint8Array(await file.arrayBuffer())));
  $("bring-ask").hidden = true;
  if (fault) {
    $("bring-says").textContent = `${fault} Nothing was loaded from ${file.name}.`;
    return refresh();
  }
  const fresh = newRows(rows), clashing = fresh.filter(speaksAgainst);
  const added = fresh.filter((row) => !clashing.includes(row));
  const strangers = added.filter((row) => !listedKeys.has(stepKey(row))).length;
  if (added.length) addEntries(added, `${added.length} loaded`);
  const differ = bringAbout(about);
  const parts = [`${added.length} entries loaded, ${rows.length - fresh.length} were here already.`];
  if (strangers) parts.push(`${strangers} are not on this coupon's list; they are at the end of All steps.`);
  if (differ.length) parts.push(`About the print, the answers here are kept: ${differ.join("; ")}.`);
  $("bring-says").textContent = parts.join(" ");
  refresh();
  if (clashing.length) return askAbout(clashing);
  return goOnAfterFile();
}

// A grade for a step that has another one here: a second try, or a slip put right in one place only.
function speaksAgainst(row) {
  const here = row.kind === "fit" && row.result ? groups.get(stepKey(row)) ?? [] : [];
  return here.length > 0 && here.every(({ result }) => String(ranksOf(result)) !== String(ranksOf(row.result)));
}

function askAbout(clashing) {
  const kept = (row) => (groups.get(stepKey(row)) ?? []).map(({ result }) => result).join(", ");
  const lines = clashing.map((row) => made("li", `${row.mate} with ${row.feature}: ${kept(row)} here, ${row.result} in the file`));
  const choices = [["Keep both", true, false], ["Only what is here", false, false], ["Only the file's", true, true]];
  const buttons = choices.map(([words, takes, drops]) => {
    const button = made("button", words, { type: "button" });
    button.addEventListener("click", () => {
      if (drops) drop([...new Set(clashing.flatMap((row) => groups.get(stepKey(row)) ?? []))]);
      if (takes) addEntries(clashing, `${clashing.length} loaded`);
      $("bring-ask").hidden = true;
      refresh();
      say(`${words}.`);
      goOnAfterFile();
    });
    return button;
  });
  const grades = clashing.length === 1 ? "One grade differs" : `${clashing.length} grades differ`;
  const list = made("ul", "");
  list.append(...lines);
  $("bring-ask").replaceChildren(made("p", `${grades} from the entries here. Is it a second try or a correction?`), list, ...buttons);
  $("bring-ask").hidden = false;
  buttons[0].focus();
}

// Go on where the file left off.
function goOnAfterFile() {
  const step = stepNow();
  const isAsked = !$("choose").hidden && currentEntries().length; // the file has answered for them
  if (isAsked || (step && isDone(step))) show(step ? nextOpen(step) : firstOpen());
}

// The card: one step at a time, what was kept for it, and where the hand goes next.
let steps = listedSteps;
let groups = new Map();
let here = null; // key of the step shown, or null when all is done
let shownAt = 0;
let used = false; // before the first act the focus is the browser's
const DOUBLE_TAP_MS = 300;

const stepNow = () => steps.find((step) => step.key === here);
const isDone = (step) => (groups.get(step.key) ?? []).some((entry) => entry.result);
const ofStage = (stage) => steps.filter((step) => stageOf(step) === stage);

function say(text) {
  $("said").textContent = text;
}

function made(name, words, attributes = {}) {
  const node = document.createElement(name);
  node.textContent = words;
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
}

// The next step without an entry: the one that teaches most, or by the list: first onward, then from
// the top, then of the other stage.
function nextOpen(step) {
  if (isGuided()) return nextTaught();
  const at = steps.indexOf(step);
  const round = [...steps.slice(at + 1), ...steps.slice(0, at + 1)].filter((one) => !isDone(one) && !isLeft(one));
  return round.find((one) => stageOf(one) === stageOf(step)) ?? round[0];
}

function show(step, { follow = true } = {}) {
  if (here !== null && here !== step?.key) trail.push(here);
  here = step ? step.key : null;
  shownAt = performance.now();
  // A reading half typed belongs to its step: it stays there and waits.
  $("reading").value = read(DRAFT, {}).readings?.[here] ?? "";
  saveDraft();
  $("card").hidden = !step;
  $("finished").hidden = Boolean(step);
  $("choose").hidden = true;
  $("jump-says").textContent = "";
  $("known").hidden = !guide;
  if (step) fillCard(step);
  showHint();
  fillDone();
  drawMarks(featureStates(), step);
  if (follow) followTo(step);
  keepFocus();
}

// What had the focus may be gone: then the step has it, never the bare page.
function keepFocus() {
  const holder = here !== null ? $("step-title") : $("choose").hidden ? $("finished") : $("choose-title");
  const on = document.activeElement;
  const lost = !on || on === document.body || on.disabled || on.closest("[hidden]");
  if (used && lost && !$("about").open) holder.focus({ preventScroll: true });
}

function fillCard(step) {
  const fit = isTried(step), holds = step.kind === "hold";
  const same = ofStage(stageOf(step));
  const named = record.features[step.feature]?.place;
  const place = `${fit ? "Try" : "Reading"} ${same.indexOf(step) + 1} of ${same.length}`;
  $("step-place").textContent = isGuided() ? placeOf(step) : named ? `${place} · ${named}` : place;
  $("step-title").textContent = step.title;
  $("step-how").textContent = step.how;
  $("fit-form").hidden = !fit || holds;
  $("hold-form").hidden = !holds;
  for (const test of $("hold-form").querySelectorAll("[data-test]")) {
    test.textContent = record.holds[step.held]?.[test.dataset.test] ?? "";
  }
  $("size-form").hidden = fit;
  // Number keys of some phones have no minus, which only the closed jaws need.
  $("reading").inputMode = step.kind === "zero" ? "text" : "decimal";
  $("stage-fit").setAttribute("aria-pressed", String(fit));
  $("stage-size").setAttribute("aria-pressed", String(!fit));
  fillSiblings(step);
  fillLeave(step);
  fillKept(step);
}

function fillSiblings(step) {
  const siblings = steps.filter((one) => one.feature === step.feature);
  $("siblings").hidden = siblings.length < 2;
  $("siblings").replaceChildren(...siblings.map((one) => {
    const words = isTried(one) ? one.mate : [one.jaws, one.along].filter(Boolean).join(" ");
    const chip = made("button", `${isDone(one) ? "✓ " : ""}${words}`, { type: "button" });
    chip.setAttribute("aria-pressed", String(one === step));
    chip.addEventListener("click", () => show(one));
    return chip;
  }));
}

function drop(entries) {
  act({ do: "drop", label: "the removal", ids: entries.map((entry) => entry.id) });
}

function keptLine(entry) {
  const line = made("li", "");
  const unit = !isTried(entry) && entry.result ? ` ${entry.unit || "mm"}` : "";
  line.append(made("b", (entry.result || "no result") + unit), made("span", entry.by, { dir: "auto" }));
  const note = made("input", "", { "aria-label": `Note on ${entry.result}`, dir: "auto", maxlength: "300", placeholder: "note" });
  note.value = entry.note;
  note.addEventListener("change", () => { act({ do: "note", id: entry.id, note: note.value.trim() }); refresh(); });
  const remove = made("button", "Remove", { type: "button", "aria-label": `Remove ${entry.result}` });
  remove.addEventListener("click", () => {
    drop([entry]);
    refresh();
    say(`${entry.result} removed. Undo brings it back.`);
  });
  line.append(note, remove);
  return line;
}

function fillKept(step) {
  const kept = groups.get(step.key) ?? [];
  $("kept-box").hidden = !kept.length;
  $("kept").replaceChildren(...kept.map(keptLine));
  for (const button of document.querySelectorAll("#fit-form [data-result], #hold-form [data-result]")) {
    const on = kept.some((entry) => entry.result === button.dataset.result);
    button.setAttribute("aria-pressed", String(on));
  }
}

// A feature counts as done when every step on it has an entry.
function featureStates() {
  const counts = new Map();
  for (const step of steps) {
    const [all, done] = counts.get(step.feature) ?? [0, 0];
    counts.set(step.feature, [all + 1, done + (isDone(step) ? 1 : 0)]);
  }
  const states = new Map();
  for (const [id, [all, done]] of counts) if (done) states.set(id, done === all ? "done" : "some");
  return states;
}

function fillCounts() {
  for (const kind of ["fit", "size"]) {
    const all = ofStage(kind);
    $(`count-${kind}`).textContent = `${all.filter(isDone).length} / ${all.length}`;
    $(`stage-${kind}`).hidden = !all.length;
  }
  $("progress").max = Math.max(steps.length, 1);
  $("progress").value = steps.filter(isDone).length;
  const last = standing().at(-1);
  $("undo").disabled = !last;
  $("undo").textContent = last ? `Undo ${last.label ?? "last change"}` : "Undo";
  const fresh = sinceSaved(), wasSaved = acts.some((one) => one.do === "saved");
  $("save-count").textContent = fresh ? `${fresh} unsaved` : wasSaved ? "saved" : "entries.csv";
}

// Bring everything on the page up to what the journal says.
function refresh() {
  const entries = currentEntries();
  steps = stepsWith(entries);
  groups = entriesByStep(entries);
  fillCounts();
  if ($("all").open) fillAll();
  if ($("files").open) fillText();
  $("unkept").hidden = keeps;
  if (!keeps) $("unkept").textContent = "This browser cannot store entries. Save the file before you close it.";
  const step = stepNow();
  if (step) fillCard(step);
  fillAsk();
  fillKnown();
  fillDone();
  if (isAnswered?.()) showWarning("");
  drawMarks(featureStates(), step);
  keepFocus();
}

function fillDone() {
  const open = steps.filter((step) => step.kind !== "zero" && !isDone(step)).length;
  $("finished-title").textContent = open ? `Stopped with ${open} left blank` : "All trials and readings are done";
  $("go-on").hidden = !open;
  fillNotKept();
  $("stop").hidden = !isGuided() || here === null;
}

// A reading that was typed but not kept is in no file.
function fillNotKept() {
  const typed = Object.entries(read(DRAFT, {}).readings ?? {});
  const left = typed.map(([key, text]) => [steps.find((step) => step.key === key), text]).filter(([step, text]) => step && text);
  $("not-kept").hidden = !left.length;
  $("not-kept").replaceChildren(made("span", "Typed but not kept: "), ...left.map(([step, text]) => {
    const back = made("button", `${nameOf(step)} ${text}`, { type: "button" });
    back.addEventListener("click", () => show(step));
    return back;
  }));
}

function fillAll() {
  $("all-steps").replaceChildren(...["fit", "size"].map((kind) => {
    const list = made("ol", "");
    for (const step of ofStage(kind)) {
      const item = made("li", ""), kept = (groups.get(step.key) ?? []).map((entry) => entry.result);
      const button = made("button", step.title, { type: "button" });
      button.dataset.key = step.key;
      button.append(made("span", kept.length ? `✓ ${kept.join(", ")}` : isLeft(step) ? "left out" : "open"));
      item.append(button);
      list.append(item);
    }
    return list;
  }));
}

// Returns the contradiction that the entry makes, or null.
function keepEntry(step, result, unit) {
  const by = $("by").value.trim(), note = $("note").value.trim();
  const { kind, feature, mate, jaws, along } = step;
  addEntries([{ kind, feature, mate, jaws, along, result, unit, by, note }], `${nameOf(step)} ${result}`);
  $("note").value = "";
  saveDraft();
  if (kind !== "zero" && plan.stopped) changePlan({ stopped: false });
  refresh();
  return kind === "fit" ? clashOf(step) : null;
}

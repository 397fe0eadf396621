// The guide on the page: what to find out, what comes next, what is known, when it is enough. What
// the person chose is kept with the draft; entries are made by taps alone.
const plan = { choice: record.choice, passed: [], left: [], goneOn: false, stopped: false };
let trail = []; // keys of the steps shown before, for going back
let outlook = { of: "", known: [], later: [], narrower: 0, rows: {} };

const isGuided = () => Boolean(guide) && plan.choice !== "listed";
const isLeft = (step) => plan.left.includes(step.key);

function changePlan(change) {
  Object.assign(plan, change);
  saveDraft({ plan });
}

function held() {
  const last = currentEntries().findLast(({ kind }) => kind === "fit" || kind === "size");
  if (!last) return null;
  return last.kind === "fit" ? last.mate : "caliper";
}

// Tasks without an entry that nobody passed over or left out.
function openTasks() {
  const tasks = [];
  for (let task = 0; task < guide.rows.length; task += 1) {
    const step = listedSteps[task];
    if (!isDone(step) && !isLeft(step) && !plan.passed.includes(step.key)) tasks.push(task);
  }
  return tasks;
}

const stepOf = (task) => steps.find((step) => step.key === listedSteps[task].key);

// The closed jaws are asked for last, of whoever measured.
function lastStep() {
  const zero = steps.find((step) => step.kind === "zero");
  const measured = currentEntries().some(({ kind }) => kind === "size");
  return zero && measured && !isDone(zero) && !plan.passed.includes(zero.key) ? zero : undefined;
}

function nextTaught(stage = "") {
  const tasks = plan.stopped ? [] : openTasks().filter((task) => !stage || stageOf(listedSteps[task]) === stage);
  if (!tasks.length) return lastStep();
  return stepOf(bestOf(learned(currentEntries()), tasks, held(), plan.choice));
}

// Where to begin, or to begin again.
const firstOpen = () => (isGuided() ? nextTaught() : steps.find((step) => !isDone(step) && !isLeft(step)));

// What is known, and what the next five entries would bring; worked out once an entry.
function lookOut() {
  const now = learned(currentEntries()), tasks = openTasks();
  const of = `${taken.join()}|${plan.choice}|${tasks.length}`;
  if (outlook.of === of) return outlook;
  const later = lookAhead(now, tasks, held(), plan.choice);
  outlook = { of, known: knownOf(now, plan.choice), later: halvesOf(later, plan.choice), narrower: narrowing(now, later, plan.choice), rows: {} };
  return outlook;
}

const percent = (share) => `${(100 * share).toFixed(share < 0.095 ? 1 : 0).replace(".0", "")}\u00a0%`;
const signed = (mm) => `${mm < 0 ? "−" : ""}${Math.abs(mm).toFixed(2)}`;
const isEnough = () => taken.length > 0 && lookOut().narrower < guide.enough;

function fillKnown() {
  $("known").hidden = !guide || !$("choose").hidden;
  if (!guide) return;
  const { known, later, narrower } = lookOut();
  $("known-rows").replaceChildren(...known.map((one, k) => {
    const row = made("tr", "", { "data-value": one.value, "data-half": one.half, "data-chance": one.chance });
    const name = made("th", one.name, { scope: "row" });
    if (one.grade) name.append(made("small", `${one.grade} with ${percent(one.chance)} chance`));
    row.append(name, made("td", signed(one.value)),
      made("td", `± ${one.half.toFixed(2)}`), made("td", `± ${later[k].toFixed(2)}`));
    return row;
  }));
  const few = narrower < guide.enough;
  $("known-says").textContent = few
    ? `Enough: ${guide.more} more entries would narrow these by ${percent(narrower)}, less than ${percent(guide.enough)}.`
    : `${guide.more} more entries would narrow these by ${percent(narrower)}.`;
  $("choice").value = plan.choice;
}

// Says once that it is enough; going on and stopping are one tap each.
function offerToStop() {
  if (!isGuided() || plan.goneOn || plan.stopped || !isEnough()) return "";
  const words = $("known-says").textContent;
  const stop = made("button", "Stop here", { type: "button", class: "strong" });
  const on = made("button", "Go on", { type: "button" });
  stop.addEventListener("click", stopNow);
  on.addEventListener("click", () => { changePlan({ goneOn: true }); showWarning(""); });
  showWarning(words, [stop, on]);
  return words;
}

function stopNow() {
  changePlan({ stopped: true });
  showWarning("");
  show(lastStep());
  say($("known-says").textContent);
}

function goOnAgain() {
  changePlan({ stopped: false, goneOn: true, passed: [], left: [] });
  show(firstOpen());
}

// Tasks of a step's row that are open, if all of them together would bring too little.
function restOfRow(step) {
  const row = record.features[step.feature]?.row;
  const rest = openTasks().filter((task) => record.features[listedSteps[task].feature].row === row);
  if (!row || rest.length < 2) return [];
  const { rows } = lookOut();
  rows[row] ??= bringLittle(learned(currentEntries()), rest, plan.choice);
  return rows[row] ? rest : [];
}

function fillLeave(step) {
  const rest = guide && taken.length ? restOfRow(step) : [];
  $("leave-row").hidden = !rest.length;
  if (rest.length) $("leave-row").textContent = `Leave out the rest of row ${record.features[step.feature].row}: its ${rest.length} steps would narrow the gaps by less than ${percent(guide.enough)}`;
}

function leaveRow() {
  const keys = restOfRow(stepNow()).map((task) => listedSteps[task].key), before = plan.left, from = here;
  if (!keys.length) return;
  const words = `${keys.length} steps of row ${record.features[stepNow().feature].row} are left out and stay blank.`;
  changePlan({ left: [...before, ...keys] });
  show(nextOpen(stepNow()));
  const back = made("button", "Bring them back", { type: "button" });
  back.addEventListener("click", () => {
    changePlan({ left: before });
    showWarning("");
    show(steps.find((step) => step.key === from));
  });
  showWarning(words, [back]);
  fillCounts();
  say(words);
}

function placeOf(step) {
  const named = record.features[step.feature]?.place ?? "";
  const isBest = nextTaught()?.key === step.key;
  const more = taken.length ? `${guide.more} more: −${percent(lookOut().narrower)}` : "";
  return [named && named[0].toUpperCase() + named.slice(1), isBest && step.kind !== "zero" ? "teaches most now" : "", more].filter(Boolean).join(" · ");
}

function skipTaught() {
  const step = stepNow();
  if (step && !isDone(step)) changePlan({ passed: [...plan.passed, step.key] });
  show(nextTaught());
}

function backTaught() {
  const key = trail.pop();
  const step = steps.find((one) => one.key === key);
  if (!step) return;
  here = null; // so that this step is not put on the trail again
  show(step);
}

function choose(choice) {
  changePlan({ choice, chosen: true, passed: [], goneOn: false, stopped: false });
  fillKnown();
  show(firstOpen());
  $("step-title").focus({ preventScroll: true });
  say($("step-title").textContent);
}

// Asked once, before the first entry; a tap on the picture answers it as well.
function asksWhat() {
  return isGuided() && !plan.chosen && !currentEntries().length;
}

function askWhat() {
  show(undefined);
  $("finished").hidden = true;
  $("choose").hidden = false;
  $("known").hidden = true;
}

function listenToGuide() {
  $("choose").addEventListener("click", (event) => {
    const button = event.target.closest("[data-choice]");
    if (button) choose(button.dataset.choice);
  });
  $("choice").addEventListener("change", () => choose($("choice").value));
  $("leave-row").addEventListener("click", leaveRow);
  $("stop").addEventListener("click", stopNow);
  $("go-on").addEventListener("click", goOnAgain);
}

// Hands to page: taps, keys, typing; then the start.
function grade(result) {
  const step = stepNow();
  if (!isTried(step)) return;
  const earlier = groups.get(step.key) ?? [];
  const clash = keepEntry(step, result, "");
  if (earlier.length) return askWhichCounts(step, result, earlier);
  const next = nextOpen(step);
  show(next);
  const odd = clash ? warnOf(clash) : showWarning("") || offerToStop();
  return say([`${step.feature} ${result}.`, odd, next ? next.title : ALL_DONE].filter(Boolean).join(" "));
}

const ALL_DONE = "All trials and readings are done.";

// Says what contradicts what and leads to both; it goes when one of the two is put right.
function warnOf({ wide, narrow }) {
  const text = `${wide.feature} has a wider gap than ${narrow.feature}, but ${wide.mate} is tighter there. Try both again.`;
  const ways = [wide, narrow].map((step) => {
    const way = made("button", `Go to ${step.feature}`, { type: "button" });
    way.addEventListener("click", () => { show(step); say(step.title); });
    return way;
  });
  showWarning(text, ways, () => !clashBetween(wide, narrow));
  return text;
}

// A finger that bounces must not grade the next trial as well.
const isBounce = () => performance.now() - shownAt < DOUBLE_TAP_MS;

// What is said about a step stands above the card until it is answered.
let isAnswered = null;

function showWarning(text, offers = [], answered = null) {
  isAnswered = text ? answered : null;
  $("step-warning").hidden = !text;
  $("step-warning").replaceChildren(made("span", text), ...offers);
  keepFocus();
}

// A second grade may be a second try, which counts as well, or put a slip right.
function askWhichCounts(step, result, earlier) {
  show(step);
  const words = [...earlier.map((entry) => entry.result), result].join(", ");
  const only = made("button", `Only ${result}`, { type: "button" });
  const all = made("button", "Keep all", { type: "button" });
  only.addEventListener("click", () => {
    drop(earlier);
    refresh();
    goOn(step);
  });
  all.addEventListener("click", () => goOn(step));
  const question = `${step.mate} with ${step.feature} now has ${words}. Is it a second try or a correction?`;
  showWarning(question, [all, only], () => (groups.get(step.key) ?? []).length < 2);
  say(question);
}

function goOn(step) {
  const next = nextOpen(step);
  show(next);
  const clash = clashOf(step);
  const odd = clash ? warnOf(clash) : showWarning("");
  say([odd, next ? next.title : ALL_DONE].filter(Boolean).join(" "));
}

let heldBack = ""; // a doubtful reading that was pointed out once; the second Enter keeps it

function hintFor(step) {
  const text = $("reading").value;
  const unit = document.querySelector("[name=unit]:checked").value;
  if (!text.trim()) return { fault: "", hints: [] };
  return step.kind === "zero" ? judgedZero(text, unit) : judged(text, unit, step.feature);
}

function showHint() {
  const step = stepNow();
  if (!step || isTried(step)) return;
  const { fault, hints = [] } = hintFor(step);
  const lines = fault ? [made("p", fault)] : hints.map((hint) => hintLine(hint));
  $("hint").replaceChildren(...lines);
  $("reading").setAttribute("aria-invalid", String(Boolean(fault)));
  // What is doubtful is first looked at again; to keep it is the weaker way.
  $("look-again").hidden = !hints.length;
  $("keep-again").hidden = Boolean(hints.length);
  $("keep").textContent = hints.length ? "Keep it anyway" : "Keep, next";
  $("keep").classList.toggle("strong", !hints.length);
  keepFocus();
}

function lookAgain() {
  $("reading").focus();
  $("reading").select();
}

// Whether the hint can be read: above the keys of a phone, and above the bar.
function hintInSight() {
  const { top, bottom } = $("hint").getBoundingClientRect();
  const bar = getComputedStyle(document.querySelector(".bar")).position === "fixed"
    ? document.querySelector(".bar").getBoundingClientRect().top : Infinity;
  const view = window.visualViewport ?? { offsetTop: 0, height: window.innerHeight };
  return top >= view.offsetTop && bottom <= Math.min(view.offsetTop + view.height, bar) + 1;
}

function hintLine({ say: words, use }) {
  const line = made("p", words);
  if (use) {
    const offer = made("button", `Use ${use.plain} ${use.unit === "in" ? "inch" : "mm"}`, { type: "button" });
    offer.addEventListener("click", () => {
      $("reading").value = use.plain;
      document.querySelector(`[name=unit][value=${use.unit}]`).checked = true;
      showHint();
      saveDraft();
      $("reading").focus();
    });
    line.append(" ", offer);
  }
  return line;
}

function keepReading(again) {
  const step = stepNow();
  if (!step || isTried(step)) return;
  const { fault, hints, plain, unit } = hintFor(step);
  if (fault !== undefined) {
    $("hint").replaceChildren(made("p", fault || "Type the reading of the caliper."));
    $("reading").focus();
    return;
  }
  const doubtful = `${step.key} ${plain} ${unit}`;
  // Nothing doubtful is kept before its hint was in sight.
  if (hints.length && (heldBack !== doubtful || !hintInSight())) {
    heldBack = doubtful;
    showHint();
    $("reading").focus({ preventScroll: true });
    $("hint").scrollIntoView({ block: "nearest" });
    return;
  }
  $("reading").value = "";
  saveDraft();
  keepEntry(step, plain, unit);
  const next = again ? step : nextOpen(step);
  show(next);
  if (!again) offerToStop();
  say(`${nameOf(step)} ${plain} kept. ${next ? next.title : ALL_DONE}`);
  if (next && !isTried(next)) $("reading").focus();
}

// Words typed and not yet kept survive the tab as well.
function saveDraft(more = {}) {
  const before = read(DRAFT, {}), readings = { ...before.readings };
  if (stepNow() && stageOf(stepNow()) === "size") readings[here] = $("reading").value || undefined;
  keep(DRAFT, {
    ...before, here, readings, by: $("by").value, note: $("note").value,
    unit: document.querySelector("[name=unit]:checked").value, keys: $("keys-on").checked, ...more,
  });
}

function loadDraft() {
  const draft = read(DRAFT, {});
  for (const name of ["by", "note"]) $(name).value = draft[name] ?? "";
  if (draft.unit === "in") document.querySelector("[name=unit][value=in]").checked = true;
  $("keys-on").checked = draft.keys ?? true;
  Object.assign(plan, draft.plan);
  return draft.here;
}

function move(by) {
  showWarning("");
  if (isGuided()) {
    if (by > 0) skipTaught();
    else backTaught();
    return say(stepNow()?.title ?? ALL_DONE);
  }
  const at = steps.findIndex((step) => step.key === here);
  // Whoever skips the closed jaws with all else done is through.
  if (by > 0 && steps[at]?.kind === "zero" && !steps.some((step) => step.kind !== "zero" && !isDone(step))) return show(null);
  const to = at < 0 ? (by < 0 ? steps.length - 1 : 0) : (at + by + steps.length) % steps.length;
  show(steps[to]);
  return say(steps[to]?.title ?? "");
}

function lookBack() {
  show(steps[0]);
  say(steps[0].title);
}

function toStage(stage) {
  if (isGuided() && nextTaught(stage)) return show(nextTaught(stage));
  const all = ofStage(stage);
  return show(all.find((step) => !isDone(step)) ?? all[0]);
}

// A tap on a feature goes to its first open step; another tap on it, to its following one.
function toFeature(id) {
  const kind = stepNow()?.kind ?? "fit";
  const its = steps.filter((step) => step.feature === id || step.mate === id);
  if (!its.length) return say(`${id} has no step.`);
  const own = its.filter((step) => step.feature === id);
  const from = own.length ? own : its;
  const at = from.indexOf(stepNow());
  const rest = [...from.slice(at + 1), ...from.slice(0, at + 1)];
  const step = rest.find((one) => one.kind === kind && !isDone(one)) ?? rest.find((one) => !isDone(one)) ?? rest[0];
  show(step, { follow: false });
  showWarning("");
  return say(step.title);
}

function undo() {
  const last = standing().at(-1);
  if (!last) return;
  act({ do: "undo" });
  refresh();
  // Back to the step whose entry was taken away.
  if (last.do === "add" && last.entries.length === 1) show(steps.find((step) => step.key === stepKey(last.entries[0])));
  else if (!stepNow()) show(steps.find((step) => !isDone(step)));
  say(`Undone: ${last.label ?? "last change"}.`);
}

function jump(event) {
  event.preventDefault();
  const wanted = $("jump-to").value.trim().toLowerCase();
  const id = Object.keys(record.features).find((one) => one.toLowerCase() === wanted);
  const missing = wanted ? `There is no feature ${$("jump-to").value} on this coupon.` : "Type a label, such as A3.";
  $("jump-says").textContent = id ? "" : missing;
  $("jump-to").setAttribute("aria-invalid", String(!id));
  if (!id) return $("jump-to").select();
  $("jump-to").value = "";
  toFeature(id);
  followTo(stepNow());
  return $("step-title").focus({ preventScroll: true });
}

const KEYS = {
  arrowleft: () => move(-1),
  arrowright: () => move(1),
  u: undo,
  j: () => $("jump-to").focus(),
  m: () => toStage(stageOf(stepNow()) === "size" ? "fit" : "size"),
};

function onKey(event) {
  const typing = event.target.closest("input, textarea, select, dialog, #window");
  if (typing || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  // A figure typed anywhere while a reading is asked for belongs into its field.
  if (stepNow() && stageOf(stepNow()) === "size" && /^[\d.,+−-]$/.test(event.key)) return $("reading").focus();
  if (!$("keys-on").checked) return;
  const form = stepNow()?.kind === "hold" ? "hold-form" : "fit-form";
  const button = [...$(form).querySelectorAll("[data-result]")]
    .find((one) => one.querySelector("kbd").textContent === event.key);
  const doIt = button ? () => grade(button.dataset.result) : KEYS[event.key.toLowerCase()];
  if (!doIt) return;
  event.preventDefault();
  doIt();
}

function listen() {
  for (const form of ["fit-form", "hold-form"]) {
    $(form).addEventListener("click", (event) => {
      const button = event.target.closest("[data-result]");
      if (button && !isBounce()) grade(button.dataset.result);
    });
  }
  $("size-form").addEventListener("submit", (event) => { event.preventDefault(); keepReading(false); });
  $("keep-again").addEventListener("click", () => keepReading(true));
  $("size-form").addEventListener("input", showHint);
  $("look-again").addEventListener("click", lookAgain);
  $("jump-to").addEventListener("input", () => { $("jump-says").textContent = ""; $("jump-to").removeAttribute("aria-invalid"); });
  document.addEventListener("input", (event) => { if (!event.target.closest("dialog")) saveDraft(); });
  for (const what of ["pointerdown", "keydown"]) document.addEventListener(what, () => { used = true; });
  listenToAbout();
  listenToGuide();
  document.addEventListener("keydown", onKey);
  $("back").addEventListener("click", () => move(-1));
  $("skip").addEventListener("click", () => move(1));
  $("undo").addEventListener("click", undo);
  $("look-back").addEventListener("click", lookBack);
  $("stage-fit").addEventListener("click", () => toStage("fit"));
  $("stage-size").addEventListener("click", () => toStage("size"));
  $("jump").addEventListener("submit", jump);
  for (const id of ["save-file", "save-last"]) $(id).addEventListener("click", saveFile);
  $("bring").addEventListener("change", async (event) => {
    await bringIn(event.target.files[0]);
    event.target.value = ""; // so that the same file can be chosen again
  });
  $("all").addEventListener("toggle", () => { if ($("all").open) fillAll(); });
  $("files").addEventListener("toggle", () => { if ($("files").open) fillText(); });
  $("all-steps").addEventListener("click", (event) => {
    const button = event.target.closest("[data-key]");
    if (button) { show(steps.find((step) => step.key === button.dataset.key)); $("step-title").focus(); $("card").scrollIntoView(); }
  });
  svg?.addEventListener("click", (event) => { const id = featureAt(event); if (id) toFeature(id); });
  $("closer")?.addEventListener("click", () => {
    setCloser($("closer").getAttribute("aria-pressed") !== "true");
    followTo(stepNow());
  });
  // The same run open in another tab: take over what was done there.
  window.addEventListener("storage", (event) => { if (event.key === record.key) { loadActs(); refresh(); } });
  window.addEventListener("beforeunload", (event) => { if (!keeps && sinceSaved()) event.preventDefault(); });
}

function start() {
  loadActs();
  keep(record.key, acts); // finds out at once whether the browser keeps anything
  const last = loadDraft();
  findPlaces();
  setCloser(startsClose());
  $("ids").replaceChildren(...Object.keys(record.features).map((id) => made("option", "", { value: id })));
  listen();
  refresh();
  if (asksWhat()) askWhat();
  else show(steps.find((step) => step.key === last) ?? firstOpen());
  document.documentElement.dataset.ready = "yes";
}

start();

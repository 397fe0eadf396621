// What there is to do: the steps that the coupon lists, in its order, and any that a file brought in.
const $ = (id) => document.getElementById(id);
const record = JSON.parse($("record").textContent);

const stepKey = (row) => JSON.stringify([row.kind, row.feature, row.mate, row.jaws, row.along]);

const listedSteps = record.steps.map((step) => ({ ...step, key: stepKey(step) }));
const listedKeys = new Map(listedSteps.map((step, at) => [step.key, at]));

const idsByLowerCase = new Map(
  [...Object.keys(record.features), ...listedSteps.map((step) => step.mate)].map((id) => [id.toLowerCase(), id]));

// Trials are one stage; readings, the one with closed jaws last, are the other.
const isTried = (step) => step?.kind === "fit" || step?.kind === "hold";
const stageOf = (step) => (isTried(step) ? "fit" : "size");
const nameOf = (step) => step.feature || "closed jaws";

// A row of an earlier file may belong to no step of this coupon. It is shown and exported all the
// same: nothing that a person typed is dropped.
function strangerStep(entry) {
  const what = isTried(entry) ? `${entry.mate} with ${entry.feature}` : nameOf(entry);
  return {
    kind: entry.kind, feature: entry.feature, mate: entry.mate, jaws: entry.jaws, along: entry.along,
    key: stepKey(entry), title: `Not on the list: ${what}`,
    how: "This came in with a file. The coupon does not ask for it.",
  };
}

function stepsWith(entries) {
  const strangers = new Map();
  for (const entry of entries) {
    const key = stepKey(entry);
    if (!listedKeys.has(key) && !strangers.has(key)) strangers.set(key, strangerStep(entry));
  }
  return strangers.size ? [...listedSteps, ...strangers.values()] : listedSteps;
}

function entriesByStep(entries) {
  const groups = new Map();
  for (const entry of entries) {
    const key = stepKey(entry);
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(entry);
  }
  return groups;
}

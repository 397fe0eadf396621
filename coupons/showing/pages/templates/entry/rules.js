// What makes a row an entry, by the rules of the checks: what the page takes, they take, and the
// other way round. Each refusal says what was expected.
const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?$/i;
const INSIDES = ["hole", "slot"];
const ROUNDS = ["hole", "pin"];

const plainNumber = (text) => (NUMBER.test(text) ? Number(text.replace(",", ".")) : NaN);

// Lowest and highest rank of a result, also of a range such as push..slide; undefined if it is none.
function ranksOf(result) {
  const words = result.split(/\.{2,3}|…/).map((word) =>
    word.trim().toLowerCase().replace(/^no[\s_‐-―-]?go$/, "no-go"));
  const ends = words.map((word) => record.ranks[word]);
  if (ends.length === 1) return ends[0];
  // The ends of a range are grades; a word for several is no end.
  if (ends.length > 2 || !ends.every((end) => end && end[0] === end[1])) return undefined;
  const [one, other] = [ends[0][0], ends[1][0]];
  return [Math.min(one, other), Math.max(one, other)];
}

function refusalOf(row) {
  const cells = [row.kind, row.feature, row.mate, row.result, row.unit, row.jaws, row.along];
  if (cells.some((cell) => cell.startsWith("="))) return "a formula: type the value that it shows";
  if (row.kind === "fit") return fitRefusal(row);
  if (row.kind === "size") return sizeRefusal(row);
  if (row.kind === "zero") return zeroRefusal(row);
  if (row.kind === "hold") return holdRefusal(row);
  return "kind must be fit, size, zero or hold";
}

function zeroRefusal({ feature, mate, result, unit, jaws, along }) {
  if (feature || mate || along) return "a row of kind zero has no feature, mate or along";
  const mm = plainNumber(result) * (unit.toLowerCase() === "in" ? MM_PER_INCH : 1);
  if (Number.isNaN(mm)) return `“${result}” is not a plain number`;
  if (!["mm", "in"].includes(unit.toLowerCase())) return `unit “${unit}” is not mm or in`;
  if (!["outside", "inside", "depth"].includes(jaws)) return `“${jaws}” are not jaws of a caliper`;
  return Math.abs(mm) <= record.zero ? "" : `closed jaws show ${record.zero} mm at most`;
}

function fitRefusal({ feature, mate, result }) {
  if (!ranksOf(result)) return `“${result}” is not a grade`;
  const fixed = record.features[feature];
  if (!fixed) return `this coupon has no feature “${feature}”`;
  const form = record.features[mate]?.form ?? record.hardware[mate];
  if (!form) return `this coupon has no mate “${mate}”`;
  if (listedSteps.some((step) => step.kind === "fit" && step.feature === feature && step.mate === mate)) return "";
  const meets = INSIDES.includes(fixed.form) !== INSIDES.includes(form)
    && ROUNDS.includes(fixed.form) === ROUNDS.includes(form);
  return meets ? "" : `the ${form} ${mate} cannot be tried in or on the ${fixed.form} ${feature}`;
}

function holdRefusal({ feature, mate, result }) {
  const words = [...$("hold-form").querySelectorAll("[data-result]")].map((button) => button.dataset.result);
  if (!words.includes(result.toLowerCase())) return `“${result}” is none of ${words.join(", ")}`;
  const listed = listedSteps.some((step) => step.kind === "hold" && step.feature === feature && step.mate === mate);
  return listed ? "" : `${mate} does not hold itself in ${feature}`;
}

function sizeRefusal({ feature, mate, result, unit, jaws, along }) {
  if (mate) return "a reading has no mate";
  const of = record.features[feature];
  if (!of) return `this coupon has no feature “${feature}”`;
  const mm = plainNumber(result) * (unit.toLowerCase() === "in" ? MM_PER_INCH : 1);
  if (Number.isNaN(mm)) return `“${result}” is not a plain number`;
  if (!["mm", "in"].includes(unit.toLowerCase())) return `unit “${unit}” is not mm or in`;
  if (!isSize(mm)) return `a size must be from ${record.sizes[0]} to ${record.sizes[1]} mm`;
  return jawsRefusal(feature, of, jaws) || alongRefusal(feature, of, along);
}

const isSize = (mm) => mm >= record.sizes[0] && mm <= record.sizes[1];

function jawsRefusal(feature, { form, direction }, jaws) {
  const usual = INSIDES.includes(form) ? "inside" : "outside";
  const isStep = !ROUNDS.includes(form) && direction === "z";
  const listed = listedSteps.some((step) => step.kind === "size" && step.feature === feature && step.jaws === jaws);
  if (jaws === usual || listed || (jaws === "depth" && isStep)) return "";
  return `${usual} jaws read the ${form} ${feature}, not “${jaws}”`;
}

function alongRefusal(feature, { form, direction }, along) {
  const axes = ["x", "y", "z"].filter((axis) => (axis === direction) !== ROUNDS.includes(form));
  return !along || axes.includes(along) ? "" : `${feature} is not read along “${along}”`;
}

// What is said about a reading while it is typed. Nothing is ever changed: a hint can offer a value,
// and the person takes it or keeps their own.
const MM_PER_INCH = 25.4;

// Returns { number, plain, unit } or { fault }; a decimal comma is as good as a point, and a unit
// typed behind the number is the unit.
function numberIn(text, signed = false) {
  const [, digits, sign] = text.trim().match(/^(.*?)\s*(mm|in|inch|"|″)?$/i);
  const plain = digits.replace(",", ".").replace("−", "-");
  if (!(signed ? /^[+-]?(\d+\.?\d*|\.\d+)$/ : /^(\d+\.?\d*|\.\d+)$/).test(plain)) {
    return { fault: "Type only a number, such as 7.98 or 7,98." };
  }
  const unit = sign && (sign.toLowerCase() === "mm" ? "mm" : "in");
  return signed || Number(plain) > 0 ? { number: Number(plain), plain, unit } : { fault: "A size must be more than 0." };
}

// What closed jaws show is 0 or near it, on either side.
function judgedZero(text, chosen) {
  const { fault, number, plain, unit = chosen } = numberIn(text, true);
  if (fault) return { fault };
  const mm = unit === "in" ? number * MM_PER_INCH : number;
  if (Math.abs(mm) <= record.zero) return { plain, unit, hints: [] };
  return { fault: `Closed jaws show ${record.zero} mm at most. Close them and read again.` };
}

// Whether a sound reading of a feature can be that long; the checks use the same limits.
const isPlausible = (mm, { low, high }) => low <= mm && mm <= high;

function swappedDigits(plain) {
  const found = [];
  for (let at = 0; at + 1 < plain.length; at += 1) {
    // The two digits may stand on both sides of the point.
    const next = plain[at + 1] === "." ? at + 2 : at + 1;
    if (plain[at] === "." || next >= plain.length) continue;
    const signs = [...plain];
    [signs[at], signs[next]] = [signs[next], signs[at]];
    found.push(signs.join(""));
  }
  return found;
}

// Returns { fault } or { plain, unit, hints: [{ say, use: { plain, unit } or undefined }] }.
function judged(text, chosen, featureId) {
  const { fault, number, plain, unit = chosen } = numberIn(text);
  if (fault) return { fault };
  const mm = unit === "in" ? number * MM_PER_INCH : number;
  if (!isSize(mm)) return { fault: `A size must be from ${record.sizes[0]} to ${record.sizes[1]} mm.` };
  const feature = record.features[featureId];
  const near = (size) => isPlausible(size, feature);
  if (!feature || near(mm)) return { plain, unit, hints: [] };

  const hints = [];
  if (unit === "mm" && near(number * MM_PER_INCH)) {
    hints.push({ say: "This looks like inches.", use: { plain, unit: "in" } });
  }
  if (unit === "in" && near(number)) {
    hints.push({ say: "This looks like millimetres.", use: { plain, unit: "mm" } });
  }
  if (unit === "mm") {
    const shifted = [10, 100, 1000].flatMap((by) => [number / by, number * by]).find((mm) => near(mm));
    if (shifted) hints.push({ say: "Is the decimal point in the wrong place?", use: { plain: String(shifted), unit } });
    // A swap must land close, or chance alone would often find one.
    const swapped = swappedDigits(plain).find((other) =>
      Math.abs(Number(other) - feature.size) <= (feature.high - feature.size) / 2);
    if (swapped) hints.push({ say: "Are two digits swapped?", use: { plain: swapped, unit } });
  }
  if (!hints.length) {
    const off = mm - feature.size;
    const way = off > 0 ? "over" : "under";
    const other = nearestFeature(mm);
    const also = other ? ` It would fit ${other}: is this ${featureId}?` : " Measure again, or keep it.";
    hints.push({ say: `${Math.abs(off).toFixed(2)} mm ${way} the drawn ${feature.size} mm.${also}` });
  }
  return { plain, unit, hints };
}

// The feature of nearly that size, if such a reading of it would be plausible.
function nearestFeature(mm) {
  const away = ([, { size }]) => Math.abs(size - mm);
  const [id, feature] = Object.entries(record.features).reduce((best, one) => (away(one) < away(best) ? one : best));
  return isPlausible(mm, feature) ? id : "";
}

const RANGE_APART = 2;

// A wider gap that refused what a narrower one took, two grades apart or more: worth a second try.
// Returns the two steps as { wide, narrow }, or null.
function clashBetween(step, other) {
  const feature = record.features[step.feature], its = record.features[other.feature];
  if (!feature || !its || other.mate !== step.mate || other.key === step.key) return null;
  if (its.row !== feature.row || its.size === feature.size) return null;
  const [wide, narrow] = its.size < feature.size === INSIDES.includes(feature.form) ? [step, other] : [other, step];
  const grades = ({ key }) => (groups.get(key) ?? []).map(({ result }) => ranksOf(result)).filter(Boolean);
  const clash = grades(narrow).some(([low]) => grades(wide).some(([, high]) => low - high >= RANGE_APART));
  return clash ? { wide, narrow } : null;
}

const clashOf = (step) => listedSteps.filter(({ kind }) => kind === "fit")
  .map((other) => clashBetween(step, other)).find(Boolean) ?? null;

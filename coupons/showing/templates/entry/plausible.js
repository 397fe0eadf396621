// What is said about a reading while it is typed. Nothing is ever changed: a hint can offer a value,
// and the person takes it or keeps their own.
const MM_PER_INCH = 25.4;

// Returns { number } or { fault }; a decimal comma is as good as a point.
function numberIn(text) {
  const plain = text.trim().replace(/\s*(mm|in|")$/i, "").replace(",", ".");
  if (!/^(\d+\.?\d*|\.\d+)$/.test(plain)) {
    return { fault: "Digits with one comma or one point, please: 7.98 or 7,98." };
  }
  return Number(plain) > 0 ? { number: Number(plain), plain } : { fault: "A size is more than 0." };
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

// Returns { fault } or { plain, hints: [{ say, use: { plain, unit } or undefined }] }.
function judged(text, unit, featureId) {
  const { fault, number, plain } = numberIn(text);
  if (fault) return { fault };
  const feature = record.features[featureId];
  if (!feature) return { plain, hints: [] };
  const near = (mm) => isPlausible(mm, feature);
  const mm = unit === "in" ? number * MM_PER_INCH : number;
  if (near(mm)) return { plain, hints: [] };

  const hints = [];
  if (unit === "mm" && near(number * MM_PER_INCH)) {
    hints.push({ say: "This looks like inches.", use: { plain, unit: "in" } });
  }
  if (unit === "in" && near(number)) {
    hints.push({ say: "This looks like millimetres.", use: { plain, unit: "mm" } });
  }
  if (unit === "mm") {
    const shifted = [10, 100, 1000].flatMap((by) => [number / by, number * by]).find((mm) => near(mm));
    if (shifted) hints.push({ say: "Has the point slipped?", use: { plain: String(shifted), unit } });
    // A swap must land close, or chance alone would often find one.
    const swapped = swappedDigits(plain).find((other) =>
      Math.abs(Number(other) - feature.size) <= (feature.high - feature.size) / 2);
    if (swapped) hints.push({ say: "Are two digits swapped?", use: { plain: swapped, unit } });
  }
  if (!hints.length) {
    const off = mm - feature.size;
    const way = off > 0 ? "over" : "under";
    const other = Object.entries(record.features).find(([id, one]) =>
      id !== featureId && one.row === feature.row && Math.abs(one.size - mm) <= 0.3);
    const also = other ? ` It would suit ${other[0]}: is this ${featureId}?` : " Measure again, or keep it.";
    hints.push({ say: `${Math.abs(off).toFixed(2)} mm ${way} the drawn ${feature.size} mm.${also}` });
  }
  return { plain, hints };
}

const RANKS = { "no-go": [0, 0], stop: [0, 1], stops: [0, 1], goes: [2, 4], force: [1, 1], push: [2, 2], slide: [3, 3], loose: [4, 4], go: [2, 4] };

// Lowest and highest rank of a result, also of a range such as push..slide; undefined if it is none.
function ranksOf(result) {
  const ends = result.toLowerCase().split("..").map((word) => RANKS[word.trim()]);
  return ends.every(Boolean) && ends.length <= 2 ? [ends[0][0], ends.at(-1)[1]] : undefined;
}

const isKnownResult = ({ kind, result }) =>
  result === "" || kind === "zero" || (kind === "fit" ? Boolean(ranksOf(result)) : "number" in numberIn(result));

// A wider gap that refused what a narrower one took, two grades apart or more: worth a second try.
function contradiction(step, result, groups) {
  const feature = record.features[step.feature];
  const rank = ranksOf(result);
  if (!feature || !rank) return "";
  const inside = feature.form === "hole" || feature.form === "slot";
  for (const other of listedSteps) {
    if (other.kind !== "fit" || other.mate !== step.mate || other.key === step.key) continue;
    const its = record.features[other.feature];
    if (its.row !== feature.row || its.size === feature.size) continue;
    const weAreWider = its.size < feature.size === inside;
    for (const entry of groups.get(other.key) ?? []) {
      const theirs = ranksOf(entry.result);
      if (!theirs) continue;
      const apart = weAreWider ? theirs[0] - rank[1] : rank[0] - theirs[1];
      if (apart >= 2) {
        const [wide, narrow] = weAreWider ? [step, other] : [other, step];
        return `${wide.feature} has more room than ${narrow.feature}, yet ${step.mate} went tighter there. Worth trying both again.`;
      }
    }
  }
  return "";
}

// Which trial or reading to do next, and what is known so far. One normal distribution of all that
// is not known takes in one entry at a time; coupons.learning.posterior.stepwise says how, and
// coupons.answering.next.guide what a trial or reading is worth. The arrays come from `make`.
const guide = record.guide; // null where the coupon goes by its list
const ROOT_2PI = Math.sqrt(2 * Math.PI);
const NINETY = 1.6448536269514722;

// The normal's distribution function: Abramowitz and Stegun 7.1.26, right to 1.5e-7.
function below(z) {
  const x = Math.abs(z) / Math.SQRT2, t = 1 / (1 + 0.3275911 * x);
  const tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))) * Math.exp(-x * x) / 2;
  return z < 0 ? tail : 1 - tail;
}

// Rows are sparse: place, weight, place, weight …
function along(row, values) {
  let sum = 0;
  for (let at = 0; at < row.length; at += 2) sum += row[at + 1] * values[row[at]];
  return sum;
}

function seenBy(row, covariance) {
  const n = guide.n, seen = new Float64Array(n);
  for (let at = 0; at < row.length; at += 2) {
    const from = row[at] * n, weight = row[at + 1];
    for (let j = 0; j < n; j += 1) seen[j] += weight * covariance[from + j];
  }
  return seen;
}

function variance(row, covariance) {
  let sum = 0;
  for (let a = 0; a < row.length; a += 2) {
    const from = row[a] * guide.n;
    let part = 0;
    for (let b = 0; b < row.length; b += 2) part += row[b + 1] * covariance[from + row[b]];
    sum += row[a + 1] * part;
  }
  return sum;
}

function beforeAny() {
  const n = guide.n, mean = new Float64Array(n), covariance = new Float64Array(n * n);
  mean.set(guide.mean);
  for (let k = 0; k < guide.others.length; k += 2) mean[guide.others[k]] = guide.others[k + 1];
  guide.covariance.forEach((line, i) => line.forEach((value, j) => {
    covariance[i * n + j] = value;
    covariance[j * n + i] = value;
  }));
  guide.variances.forEach((value, k) => { const i = guide.mean.length + k; covariance[i * n + i] = value; });
  return { mean, covariance };
}

// Adds bend · seen seenᵀ to a covariance.
function bendBy(covariance, seen, bend) {
  const n = guide.n;
  for (let i = 0; i < n; i += 1) {
    const weight = bend * seen[i];
    if (weight) for (let j = 0, from = i * n; j < n; j += 1) covariance[from + j] += weight * seen[j];
  }
}

function moveBy(now, seen, slope, bend) {
  for (let i = 0; i < guide.n; i += 1) now.mean[i] += slope * seen[i];
  bendBy(now.covariance, seen, bend);
}

const byLapse = (threshold) => 1 - (threshold + 1) / 5;

function takeSide(now, task, threshold, sign, judged) {
  const row = [...guide.rows[task], guide.thresholds + threshold, -1];
  const seen = seenBy(row, now.covariance);
  const spread = Math.sqrt(along(row, seen) + judged);
  const z = (guide.drawn[task] + along(row, now.mean)) / spread;
  const over = (1 - guide.lapse) * below(z) + guide.lapse * byLapse(threshold);
  const chance = sign > 0 ? over : 1 - over;
  const slope = sign * (1 - guide.lapse) * Math.exp(-z * z / 2) / ROOT_2PI / spread / chance;
  moveBy(now, seen, slope, -slope * z / spread - slope * slope);
}

function takeTrial(now, task, [tightest, loosest], judged) {
  if (tightest > 0) takeSide(now, task, tightest - 1, 1, judged);
  if (loosest < 4) takeSide(now, task, loosest, -1, judged);
}

function takeReading(now, task, mm) {
  const row = guide.rows[task], seen = seenBy(row, now.covariance);
  const known = along(row, seen), residual = mm - guide.drawn[task] - along(row, now.mean);
  const spreads = guide.read.map((own) => known + own);
  const logs = spreads.map((spread, k) => Math.log(guide.shares[k]) - residual ** 2 / spread / 2 - Math.log(spread) / 2);
  const top = Math.max(...logs), weights = logs.map((log) => Math.exp(log - top));
  const all = weights.reduce((sum, weight) => sum + weight, 0);
  let slope = 0, bend = 0;
  spreads.forEach((spread, k) => {
    slope += (weights[k] / all) * (residual / spread);
    bend += (weights[k] / all) * ((residual / spread) ** 2 - 1 / spread);
  });
  moveBy(now, seen, slope, bend - slope * slope);
}

const taskOf = new Map(listedSteps.map((step, at) => [step.key, at]));

// What the caliper shows with closed jaws is taken off, as the checks do: the zero of the same jaws,
// else that of the outside jaws.
function zeroOf(entry, zeros) {
  const own = zeros.filter((zero) => !zero.by || !entry.by || zero.by.toLowerCase() === entry.by.toLowerCase());
  const found = own.filter((zero) => zero.jaws === entry.jaws).at(-1) ?? own.filter((zero) => zero.jaws === "outside").at(-1);
  return found ? millimetres(found) : 0;
}

const millimetres = ({ result, unit }) => plainNumber(result) * (unit.toLowerCase() === "in" ? MM_PER_INCH : 1);

let taken = []; // what the normal below has taken in, in words
let learnt = null;

// What is known after these entries. One more entry goes on from what was known; anything else, such
// as an undo, starts anew.
function learned(entries) {
  const zeros = entries.filter(({ kind }) => kind === "zero");
  const hand = entries.find(({ kind }) => kind === "fit")?.by;
  const facts = [];
  for (const entry of entries) {
    const task = taskOf.get(stepKey(entry));
    if (task >= guide.rows.length || task === undefined) continue;
    if (entry.kind === "size") facts.push([task, millimetres(entry) - zeroOf(entry, zeros)]);
    else facts.push([task, ranksOf(entry.result), guide.judged + (entry.by === hand ? 0 : guide.hand)]);
  }
  const words = facts.map((fact) => JSON.stringify(fact));
  if (!learnt || taken.length > words.length || taken.some((one, at) => one !== words[at])) {
    taken = [];
    learnt = beforeAny();
  }
  for (const [task, found, judged] of facts.slice(taken.length)) {
    if (judged === undefined) takeReading(learnt, task, found);
    else takeTrial(learnt, task, found, judged);
  }
  taken = words;
  return learnt;
}

// Slopes of the log chance to be over and under each threshold, and the chances of the five grades.
function slopesOf(now, task) {
  const row = guide.rows[task], at = guide.thresholds, n = guide.n;
  const known = variance(row, now.covariance), middle = guide.drawn[task] + along(row, now.mean);
  const over = [], under = [], chances = [1];
  for (let k = 0; k < 4; k += 1) {
    const column = at + k;
    let shared = 0;
    for (let a = 0; a < row.length; a += 2) shared += row[a + 1] * now.covariance[row[a] * n + column];
    const spread = Math.sqrt(known - 2 * shared + now.covariance[column * n + column] + guide.judged);
    const z = (middle - now.mean[column]) / spread;
    const density = (1 - guide.lapse) * Math.exp(-z * z / 2) / ROOT_2PI / spread;
    const chance = (1 - guide.lapse) * below(z) + guide.lapse * byLapse(k);
    over.push(density / chance);
    under.push(density / (1 - chance));
    chances[k] = Math.max(chances[k] - chance, 0);
    chances.push(chance);
  }
  return { over, under, chances };
}

// By how much a task is expected to lower the variance of each want; wanted: what each want sees.
function fallsOf(now, task, wanted) {
  const row = guide.rows[task];
  if (task >= guide.trials) {
    const spread = variance(row, now.covariance) + guide.expected;
    return wanted.map((seen) => along(row, seen) ** 2 / spread);
  }
  const { over, under, chances } = slopesOf(now, task);
  return wanted.map((seen) => {
    const clearance = along(row, seen);
    let sum = 0, last = 0;
    for (let grade = 0; grade < 5; grade += 1) {
      const next = grade < 4 ? clearance - seen[guide.thresholds + grade] : 0;
      const move = (grade ? over[grade - 1] * last : 0) - (grade < 4 ? under[grade] * next : 0);
      sum += chances[grade] * move * move;
      last = next;
    }
    return sum;
  });
}

const isWanted = (want, choice) => choice === "all" || !guide.wants.some((one) => one.choice === choice) || want.choice === choice;

// The gain of each task: the fall of the log of what each wanted joint may vary by.
function gainsOf(now, tasks, choice) {
  const wants = guide.wants.filter((want) => isWanted(want, choice));
  const wanted = wants.map((want) => seenBy(want.row, now.covariance));
  const spreads = wants.map((want, k) => along(want.row, wanted[k]) + want.prints + want.alone);
  return tasks.map((task) => fallsOf(now, task, wanted).reduce((sum, fall, k) => sum + fall / spreads[k], 0));
}

const inHand = (task) => listedSteps[task].mate || "caliper";

function worthsOf(now, tasks, held, choice) {
  const { trial, reading, change } = guide.seconds;
  return gainsOf(now, tasks, choice).map((gain, k) => {
    const needed = inHand(tasks[k]);
    return gain / ((needed === "caliper" ? reading : trial) + (needed === held ? 0 : change));
  });
}

function bestOf(now, tasks, held, choice) {
  const worths = worthsOf(now, tasks, held, choice);
  let best = 0;
  for (let k = 1; k < worths.length; k += 1) if (worths[k] > worths[best]) best = k;
  return tasks[best];
}

// Moves the covariance to what is expected after a task, whatever it finds.
function expect(now, task) {
  const row = guide.rows[task];
  if (task >= guide.trials) {
    const seen = seenBy(row, now.covariance);
    return bendBy(now.covariance, seen, -1 / (along(row, seen) + guide.expected));
  }
  const { over, under, chances } = slopesOf(now, task);
  const margins = [0, 1, 2, 3].map((k) => seenBy([...row, guide.thresholds + k, -1], now.covariance));
  return chances.forEach((chance, grade) => {
    const move = new Float64Array(guide.n);
    for (let i = 0; i < guide.n; i += 1) {
      move[i] = (grade ? over[grade - 1] * margins[grade - 1][i] : 0) - (grade < 4 ? under[grade] * margins[grade][i] : 0);
    }
    bendBy(now.covariance, move, -chance);
  });
}

// What would be known after the next tasks, were each to teach what is expected of it.
function lookAhead(now, tasks, held, choice) {
  const later = { mean: now.mean, covariance: now.covariance.slice() };
  let left = tasks, hand = held;
  for (let k = 0; k < guide.more && left.length; k += 1) {
    const task = bestOf(later, left, hand, choice);
    expect(later, task);
    hand = inHand(task);
    left = left.filter((one) => one !== task);
  }
  return later;
}

// What would be known after all of some tasks.
function afterAll(now, tasks) {
  const later = { mean: now.mean, covariance: now.covariance.slice() };
  for (const task of tasks) expect(later, task);
  return later;
}

// By which share the intervals of the wants are narrower later, on average.
function narrowing(known, later) {
  return known.reduce((sum, one, k) => sum + 1 - later[k].half / one.half, 0) / known.length;
}

// The chance that a joint drawn in the middle of its window lies between its ends.
function chanceOf(now, want) {
  if (want.from < 0) return NaN;
  const first = guide.thresholds + want.from, half = (now.mean[first + 1] - now.mean[first]) / 2;
  const rest = [];
  for (let at = 0; at < want.row.length; at += 2) {
    if (want.row[at] !== first && want.row[at] !== first + 1) rest.push(want.row[at], want.row[at + 1]);
  }
  const spread = (threshold) => Math.sqrt(variance([...rest, threshold, 1], now.covariance) + want.prints + want.alone);
  return Math.max(below(half / spread(first)) + below(half / spread(first + 1)) - 1, 0);
}

// Each wanted number, with half of its 90 % interval for the next print, and its chance.
function knownOf(now, choice) {
  return guide.wants.filter((want) => isWanted(want, choice)).map((want) => ({
    name: want.name,
    value: along(want.row, now.mean),
    half: NINETY * Math.sqrt(variance(want.row, now.covariance) + want.prints),
    grade: want.grade,
    chance: chanceOf(now, want),
  }));
}

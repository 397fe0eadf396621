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

// A covariance times a row. Where it is looked ahead, the covariance stays and `moves` say what is
// added to it: weight · move moveᵀ for each.
function seenBy(row, now) {
  const n = guide.n, seen = new Float64Array(n);
  for (let at = 0; at < row.length; at += 2) {
    const from = row[at] * n, weight = row[at + 1];
    for (let j = 0; j < n; j += 1) seen[j] += weight * now.covariance[from + j];
  }
  for (const [move, weight] of now.moves) {
    const by = weight * along(row, move);
    if (by) for (let j = 0; j < n; j += 1) seen[j] += by * move[j];
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

// What choosing needs of each task stands in a table and is kept as the covariance changes: a phone
// could not work it out anew for every task. In order: the clearance or size expected and its
// variance, its covariance with the four thresholds, and with each want. Likewise the variances of
// thresholds (`ends`) and wants (`spreads`), and the covariances of each want with all thresholds.
const WIDTH = guide ? 6 + guide.wants.length : 0, WANTED = 6;

function beforeAny() {
  const n = guide.n, mean = new Float64Array(n), covariance = new Float64Array(n * n);
  mean.set(guide.mean);
  for (let k = 0; k < guide.others.length; k += 2) mean[guide.others[k]] = guide.others[k + 1];
  guide.covariance.forEach((line, i) => line.forEach((value, j) => {
    covariance[i * n + j] = value;
    covariance[j * n + i] = value;
  }));
  guide.variances.forEach((value, k) => { const i = guide.mean.length + k; covariance[i * n + i] = value; });
  const now = { mean, covariance, moves: [], tasks: guide.rows.map((_, task) => task) };
  const wanted = guide.wants.map(({ row }) => seenBy(row, now));
  const ends = [0, 1, 2, 3].map((k) => seenBy([guide.thresholds + k, 1], now));
  now.spreads = Float64Array.from(guide.wants, ({ row }, k) => along(row, wanted[k]));
  now.ends = Float64Array.from(ends, (seen, k) => seen[guide.thresholds + k]);
  now.crossed = Float64Array.from(wanted.flatMap((seen) => [0, 1, 2, 3].map((k) => seen[guide.thresholds + k])));
  now.table = new Float64Array(guide.rows.length * WIDTH);
  guide.rows.forEach((row, task) => now.table.set([
    guide.drawn[task] + along(row, mean), variance(row, covariance),
    ...ends.map((seen) => along(row, seen)), ...wanted.map((seen) => along(row, seen)),
  ], task * WIDTH));
  return now;
}

// The same, to be changed by itself; of `tasks` the table is kept.
function copyOf(now, tasks = now.tasks) {
  const { table, ends, spreads, crossed } = now;
  return { ...now, tasks, moves: [], table: table.slice(), ends: ends.slice(), spreads: spreads.slice(), crossed: crossed.slice() };
}

// Keeps the table where weight · seen seenᵀ is added to the covariance and slope · seen to the mean.
function keepTable(now, seen, weight, slope) {
  const { table, ends, spreads, crossed } = now, at = guide.thresholds, wants = guide.wants.length;
  const wanted = guide.wants.map(({ row }) => along(row, seen));
  for (let k = 0; k < 4; k += 1) ends[k] += weight * seen[at + k] * seen[at + k];
  for (let want = 0; want < wants; want += 1) {
    const by = weight * wanted[want];
    spreads[want] += by * wanted[want];
    for (let k = 0; k < 4; k += 1) crossed[4 * want + k] += by * seen[at + k];
  }
  for (const task of now.tasks) {
    const shared = along(guide.rows[task], seen), by = weight * shared, from = task * WIDTH;
    table[from] += slope * shared;
    table[from + 1] += by * shared;
    for (let k = 0; k < 4; k += 1) table[from + 2 + k] += by * seen[at + k];
    for (let k = 0; k < wants; k += 1) table[from + WANTED + k] += by * wanted[k];
  }
}

function moveBy(now, seen, slope, weight) {
  const n = guide.n;
  for (let i = 0; i < n; i += 1) {
    now.mean[i] += slope * seen[i];
    const by = weight * seen[i];
    if (by) for (let j = 0, from = i * n; j < n; j += 1) now.covariance[from + j] += by * seen[j];
  }
  keepTable(now, seen, weight, slope);
}

function moveAhead(now, seen, weight) {
  now.moves.push([seen, weight]);
  keepTable(now, seen, weight, 0);
}

const byLapse = (threshold) => 1 - (threshold + 1) / 5;

// How a trial's clearance less a threshold is spread as it is felt, and where 0 lies in it.
function marginOf(now, task, threshold, judged) {
  const { table, ends, mean } = now, from = task * WIDTH;
  const spread = Math.sqrt(table[from + 1] - 2 * table[from + 2 + threshold] + ends[threshold] + judged);
  return { spread, z: (table[from] - mean[guide.thresholds + threshold]) / spread };
}

function takeSide(now, task, threshold, sign, judged) {
  const { spread, z } = marginOf(now, task, threshold, judged);
  const over = (1 - guide.lapse) * below(z) + guide.lapse * byLapse(threshold);
  const chance = sign > 0 ? over : 1 - over;
  const slope = sign * (1 - guide.lapse) * Math.exp(-z * z / 2) / ROOT_2PI / spread / chance;
  const seen = seenBy([...guide.rows[task], guide.thresholds + threshold, -1], now);
  moveBy(now, seen, slope, -slope * z / spread - slope * slope);
}

function takeTrial(now, task, [tightest, loosest], judged) {
  if (tightest > 0) takeSide(now, task, tightest - 1, 1, judged);
  if (loosest < 4) takeSide(now, task, loosest, -1, judged);
}

function takeReading(now, task, mm) {
  const seen = seenBy(guide.rows[task], now);
  const known = now.table[task * WIDTH + 1], residual = mm - now.table[task * WIDTH];
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

let states = []; // what was known before any entry and after each of the last few, with these in words
let taken = []; // in words

// What is known after these entries. It goes on from the latest state that they begin with, so that
// an undo is as quick as an entry.
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
  taken = facts.map((fact) => JSON.stringify(fact));
  if (!states.length) states = [{ words: [], now: beforeAny() }];
  states = states.filter(({ words }) => words.every((one, at) => one === taken[at]));
  let { words: { length: at }, now } = states.at(-1);
  for (let isKept = true; at < facts.length; at += 1) {
    const isLast = facts.length - at <= 8, [task, found, judged] = facts[at];
    if (isKept || isLast) now = { ...copyOf(now), mean: now.mean.slice(), covariance: now.covariance.slice() };
    if (judged === undefined) takeReading(now, task, found);
    else takeTrial(now, task, found, judged);
    isKept = false;
    if (isLast) states.push({ words: taken.slice(0, at + 1), now });
    if (states.length > 9) states.splice(1, 1);
  }
  return states.at(-1).now;
}

// Slopes of the log chance to be over and under each threshold, and the chances of the five grades.
function slopesOf(now, task) {
  const over = [], under = [], chances = [1];
  for (let k = 0; k < 4; k += 1) {
    const { spread, z } = marginOf(now, task, k, guide.judged);
    const density = (1 - guide.lapse) * Math.exp(-z * z / 2) / ROOT_2PI / spread;
    const chance = (1 - guide.lapse) * below(z) + guide.lapse * byLapse(k);
    over.push(density / chance);
    under.push(density / (1 - chance));
    chances[k] = Math.max(chances[k] - chance, 0);
    chances.push(chance);
  }
  return { over, under, chances };
}

// All count for a choice of which the coupon has nothing, "all" among them.
function chosenWants(choice) {
  const all = guide.wants.map((_, want) => want), chosen = all.filter((want) => guide.wants[want].choices.includes(choice));
  return chosen.length ? chosen : all;
}

// By how much a task is expected to lower the variance of a want; slopes: those of a trial.
function fallOf(now, task, want, slopes) {
  const from = task * WIDTH, shared = now.table[from + WANTED + want];
  if (!slopes) return shared * shared / (now.table[from + 1] + guide.expected);
  const { over, under, chances } = slopes;
  let sum = 0, last = 0;
  for (let grade = 0; grade < 5; grade += 1) {
    const next = grade < 4 ? shared - now.crossed[4 * want + grade] : 0;
    const move = (grade ? over[grade - 1] * last : 0) - (grade < 4 ? under[grade] * next : 0);
    sum += chances[grade] * move * move;
    last = next;
  }
  return sum;
}

const inHand = (task) => listedSteps[task].mate || "caliper";

// The gain of each task a second; the gain is the fall of the log of what each wanted joint may vary by.
function worthsOf(now, tasks, held, choice) {
  const { trial, reading, change } = guide.seconds, wants = chosenWants(choice);
  const spreads = guide.wants.map((want, k) => now.spreads[k] + want.prints + want.alone);
  return tasks.map((task) => {
    const slopes = task < guide.trials ? slopesOf(now, task) : null, needed = inHand(task);
    let gain = 0;
    for (const want of wants) gain += fallOf(now, task, want, slopes) / spreads[want];
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
  const row = guide.rows[task], seen = seenBy(row, now);
  if (task >= guide.trials) return moveAhead(now, seen, -1 / (now.table[task * WIDTH + 1] + guide.expected));
  const { over, under, chances } = slopesOf(now, task);
  const ends = [0, 1, 2, 3].map((k) => seenBy([guide.thresholds + k, 1], now));
  return chances.forEach((chance, grade) => {
    const move = new Float64Array(guide.n);
    for (let i = 0; i < guide.n; i += 1) {
      move[i] = (grade ? over[grade - 1] * (seen[i] - ends[grade - 1][i]) : 0) - (grade < 4 ? under[grade] * (seen[i] - ends[grade][i]) : 0);
    }
    moveAhead(now, move, -chance);
  });
}

// What would be known after the next tasks, were each to teach what is expected of it.
function lookAhead(now, tasks, held, choice) {
  const later = copyOf(now, tasks);
  let hand = held;
  for (let k = 0; k < guide.more && later.tasks.length; k += 1) {
    const task = bestOf(later, later.tasks, hand, choice);
    hand = inHand(task);
    later.tasks = later.tasks.filter((one) => one !== task);
    expect(later, task);
  }
  return later;
}

// Whether all of some tasks together would bring too little. Each brings something, so that it need
// not go on once it is enough.
function bringLittle(now, tasks, choice) {
  const later = copyOf(now, tasks);
  for (const task of tasks) {
    later.tasks = later.tasks.filter((one) => one !== task);
    expect(later, task);
    if (narrowing(now, later, choice) >= guide.enough) return false;
  }
  return true;
}

const halfOf = (now, want) => NINETY * Math.sqrt(now.spreads[want] + guide.wants[want].prints);
const halvesOf = (now, choice) => chosenWants(choice).map((want) => halfOf(now, want));

// By which share the intervals of the wants are narrower later, on average.
function narrowing(now, later, choice) {
  const before = halvesOf(now, choice), after = halvesOf(later, choice);
  return before.reduce((sum, half, k) => sum + 1 - after[k] / half, 0) / before.length;
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
  return chosenWants(choice).map((at) => {
    const want = guide.wants[at];
    return { name: want.name, value: along(want.row, now.mean), half: halfOf(now, at), grade: want.grade, chance: chanceOf(now, want) };
  });
}

// Everything done on the page, as a list that only grows: also an undo is added, not rubbed out.
// The entries are what the list amounts to. It is kept in the browser after every act, so closing
// the tab loses nothing.
const DRAFT = `${record.key}-draft`;
let acts = [];
let keeps = true;

function read(key, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(key)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

function keep(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    keeps = false;
  }
}

function loadActs() {
  const stored = read(record.key, []);
  // Another tab may have gone further; a shorter list is never better than ours.
  if (Array.isArray(stored) && stored.length >= acts.length) acts = stored;
}

function act(what) {
  loadActs();
  acts = [...acts, what];
  keep(record.key, acts);
}

// Acts still in force, undone ones left out.
function standing(all = acts) {
  const done = [];
  for (const one of all) {
    if (one.do === "undo") done.pop();
    else if (one.do !== "saved") done.push(one);
  }
  return done;
}

const doing = {
  add: (entries, one) => [...entries, ...one.entries],
  about: (entries) => entries, // what is said about the print is no entry
  drop: (entries, one) => entries.filter((entry) => !one.ids.includes(entry.id)),
  note: (entries, one) =>
    entries.map((entry) => (entry.id === one.id ? { ...entry, note: one.note } : entry)),
};

// What a later version of the page did and this one does not know changes no entry.
const currentEntries = () =>
  standing().reduce((entries, one) => (doing[one.do] ?? doing.about)(entries, one), []);

// Ids only need to differ from each other within this journal.
const addEntries = (rows, label) =>
  act({ do: "add", label, entries: rows.map((row, at) => ({ ...row, id: `${acts.length}.${at}` })) });

// In how many acts the saved file and what stands now differ; what was undone again does not count.
function sinceSaved() {
  const saved = standing(acts.slice(0, acts.findLastIndex((one) => one.do === "saved") + 1));
  const now = standing();
  const differ = now.findIndex((one, at) => one !== saved[at]);
  const common = differ < 0 ? now.length : differ;
  return saved.length + now.length - 2 * common;
}

// Rows of a file that are not here yet. Each row here answers for one equal row of the file, so a
// file brought in twice adds nothing, while two equal readings in one file stay two.
function newRows(rows) {
  const same = (row) => JSON.stringify(COLUMNS.map((name) => row[name]));
  const here = new Map();
  for (const entry of currentEntries()) here.set(same(entry), (here.get(same(entry)) ?? 0) + 1);
  return rows.filter((row) => {
    const left = here.get(same(row)) ?? 0;
    here.set(same(row), left - 1);
    return left <= 0;
  });
}

// What is asked once about the print: kept in the journal like an entry, carried in the file as
// rows of kind about, whose answers stand in the column note.
const answers = () => standing().reduce((all, one) => (one.do === "about" ? { ...all, ...one.answers } : all), {});
const aboutFields = () => [...$("about-form").querySelectorAll("[data-about]")];

// Which print the file is of, so that another run's page and the checks can tell.
const identityRows = () => Object.entries(record.identity);

function aboutRows() {
  const said = answers();
  const names = Object.entries({ machine: record.machine, material: record.material }).filter(([, name]) => name);
  const told = record.about.map(({ key }) => [key, said[key]]).filter(([, answer]) => answer);
  return [...identityRows(), ...names, ...told].map(([feature, note]) => ({ kind: "about", feature, note }));
}

function faultOf(field, text) {
  const asked = record.about.find(({ key }) => key === field.dataset.about);
  if (!text || asked.kind !== "number") return field.validity?.badInput ? "Type a full date." : "";
  const number = plainNumber(text.replace("−", "-"));
  const low = asked.above ?? asked.least;
  if (Number.isNaN(number)) return "Type only a number, with a comma or a point.";
  if (number > asked.most || (asked.above === undefined ? number < low : number <= low)) {
    return `${asked.above === undefined ? "From" : "More than"} ${low}, at most ${asked.most}.`;
  }
  return "";
}

function openAbout() {
  const said = { by: $("by").value, ...answers(), ...read(DRAFT, {}).about };
  for (const field of aboutFields()) field.value = said[field.dataset.about] ?? "";
  $("about-by").value = said.by;
  showAboutFaults(false);
  $("about").showModal();
}

function showAboutFaults(all) {
  let first = null;
  for (const field of aboutFields()) {
    const words = all || field.value.trim() ? faultOf(field, field.value.trim()) : "";
    field.setAttribute("aria-invalid", String(Boolean(words)));
    field.closest("label").querySelector(".fault").textContent = words;
    if (words) first ??= field;
  }
  return first;
}

function keepAbout(event) {
  event.preventDefault();
  const wrong = showAboutFaults(true);
  if (wrong) return wrong.focus();
  const before = answers();
  const now = Object.fromEntries(aboutFields().map((field) => [field.dataset.about, field.value.trim()]));
  const changed = Object.entries(now).filter(([key, answer]) => answer !== (before[key] ?? ""));
  $("by").value = $("about-by").value.trim();
  if (changed.length) act({ do: "about", label: "answers about the print", answers: Object.fromEntries(changed) });
  saveDraft({ about: undefined, asked: true });
  $("about").close();
  refresh();
  return say("Kept. It will be in the saved file.");
}

// What was typed and not kept stays for the next time.
function draftAbout() {
  const typed = Object.fromEntries(aboutFields().map((field) => [field.dataset.about, field.value]));
  saveDraft({ about: { ...typed, by: $("about-by").value } });
  showAboutFaults(false);
}

function putOff() {
  saveDraft({ asked: true });
  fillAsk();
}

function fillAsk() {
  const open = record.about.filter(({ key }) => !answers()[key]).length;
  const words = open ? `${open} open` : "filled in";
  $("about-count").textContent = words;
  $("ask").hidden = open < record.about.length || Boolean(read(DRAFT, {}).asked);
  $("last-about").hidden = !open;
}

// Takes over what a file says about the print and nobody said here. Returns what differs, in words.
function bringAbout(rows) {
  const here = answers(), fresh = {}, differ = [];
  for (const { feature, note } of rows) {
    const asked = record.about.find(({ key }) => key === feature);
    if (!asked || !note || here[feature] === note) continue;
    if (here[feature]) differ.push(`${asked.label}: ${here[feature]} here, ${note} in the file`);
    else fresh[feature] = note;
  }
  if (Object.keys(fresh).length) act({ do: "about", label: "what the file says about the print", answers: fresh });
  return differ;
}

function listenToAbout() {
  for (const id of ["about-open", "ask-now", "last-about-open"]) $(id).addEventListener("click", openAbout);
  $("ask-later").addEventListener("click", () => { putOff(); $("about-open").focus(); });
  $("about-form").addEventListener("submit", keepAbout);
  $("about-form").addEventListener("input", draftAbout);
  $("about-none").addEventListener("click", () => {
    for (const field of aboutFields()) if (field.dataset.none) field.value = field.dataset.none;
    draftAbout();
  });
  $("about-close").addEventListener("click", () => $("about").close());
  $("about").addEventListener("close", () => { putOff(); keepFocus(); });
}

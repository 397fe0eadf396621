// Search, state, order and "show more". Without it the page shows every row.
const STEP = 100;
const table = document.getElementById("gaps");
if (table) {
  const body = table.tBodies[0];
  const list = document.getElementById("rows");
  const details = [...list.children];
  const pairs = [...body.rows].map((row, at) => ({ row, detail: details[at] }));
  // Read from the page when it is first asked for: most of a thousand rows never are.
  const read = (one) =>
    (one.read ??= {
      text: one.detail.querySelector("summary").textContent.toLowerCase(),
      states: one.row.querySelector(".mark").textContent.slice(2).split(", "),
      cells: [...one.row.cells].map((cell) => cell.textContent),
    });
  const form = document.getElementById("find");
  const words = document.getElementById("words");
  const state = document.getElementById("state");
  const count = document.getElementById("count");
  const more = document.getElementById("more");
  const none = document.getElementById("none");
  let order = pairs;
  let limit = STEP;

  const box = table.parentElement;
  const shade = () => {
    box.classList.toggle("goes-on", box.scrollTop + box.clientHeight < box.scrollHeight - 2);
  };
  const show = () => {
    const wanted = words.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const one of order) {
      const fits =
        (!state.value || read(one).states.includes(state.value)) && wanted.every((word) => read(one).text.includes(word));
      one.row.hidden = !fits;
      one.detail.hidden = !fits || shown >= limit;
      shown += fits;
    }
    count.textContent = `${shown} of ${pairs.length}`;
    more.hidden = shown <= limit;
    none.hidden = shown > 0;
    shade();
  };

  const names = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
  const value = (text) => {
    // A real minus before the number; what stands behind it ("at 4") is not part of it.
    const found = text.replace("−", "-").match(/-?\d+(\.\d+)?/);
    return found ? Number(found[0]) : Infinity;
  };
  const sort = (column, down) => {
    const sign = down ? -1 : 1;
    order = [...pairs].sort((a, b) => {
      if (column === 0) return sign * names.compare(read(a).cells[0], read(b).cells[0]);
      const [x, y] = [value(read(a).cells[column]), value(read(b).cells[column])];
      // What is not measured stays at the end, whichever way.
      if (x === y) return 0;
      if (x === Infinity || y === Infinity) return x === Infinity ? 1 : -1;
      return sign * (x - y);
    });
    body.append(...order.map((one) => one.row));
    list.append(...order.map((one) => one.detail));
    show();
  };

  [...table.tHead.rows[1].cells].forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of table.tHead.rows[1].cells) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      sort(column, down);
    });
  });
  const anew = () => {
    limit = STEP;
    show();
  };
  words.addEventListener("input", anew);
  state.addEventListener("change", anew);
  form.addEventListener("submit", (event) => event.preventDefault());
  more.addEventListener("click", () => {
    limit += STEP;
    show();
  });
  box.addEventListener("scroll", shade, { passive: true });
  window.addEventListener("resize", shade);
  form.hidden = false;
  show();
}

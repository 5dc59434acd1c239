// All takes: sorted by any column, found by name.

const table = document.getElementById("takes");
if (table) {
  const body = table.tBodies[0];
  const rows = [...body.rows].map((row) => ({ row, values: JSON.parse(row.dataset.values) }));
  const find = document.getElementById("find"), sort = document.getElementById("sort");
  const reverse = document.getElementById("reverse"), count = document.getElementById("count");
  const heads = [...table.tHead.querySelectorAll("button")];
  const RISING = new Set(["place", "take"]); // all else begins with the most

  const words = new Intl.Collator(undefined, { numeric: true }); // take 2 before take 10

  /** Put the rows in order; those without a value stay last either way round. */
  function order() {
    const key = sort.value, rising = RISING.has(key) !== reverse.checked, sign = rising ? 1 : -1;
    const compare = (a, b) => (typeof a === "string" ? words.compare(a, b) : a - b);
    rows.sort((one, other) => {
      const a = one.values[key], b = other.values[key];
      if (a === null || b === null) return (a === null) - (b === null) || one.values.place - other.values.place;
      return sign * compare(a, b) || one.values.place - other.values.place;
    });
    body.append(...rows.map(({ row }) => row));
    for (const head of heads) {
      if (head.dataset.key === key) head.parentElement.setAttribute("aria-sort", rising ? "ascending" : "descending");
      else head.parentElement.removeAttribute("aria-sort");
    }
  }

  function search() {
    const sought = find.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const { row, values } of rows) {
      row.hidden = !sought.every((word) => values.text.includes(word));
      shown += !row.hidden;
    }
    count.textContent = shown === rows.length ? "" : `${shown} of ${rows.length} takes`;
  }

  for (const head of heads) {
    head.addEventListener("click", () => {
      const key = head.dataset.key;
      reverse.checked = sort.value === key && !reverse.checked;
      sort.value = key;
      order();
    });
  }
  sort.addEventListener("change", order);
  reverse.addEventListener("change", order);
  find.addEventListener("input", search);
  // What was sought and how it was sorted may come back with the page: from a take one returns to the same list.
  function takeUp() {
    order();
    search();
  }
  addEventListener("pageshow", takeUp);
  takeUp();
}
document.documentElement.dataset.ready = "yes";

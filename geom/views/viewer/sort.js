"use strict";
/** Tables sort by the column whose heading is pressed: numbers as numbers. */

/** What a cell is sorted by: "1 1/8 in" as 1.125, words as they stand. */
function sortKey(cell) {
  const text = ((cell && cell.firstChild && cell.firstChild.textContent) || (cell && cell.textContent) || "").trim();
  const found = /^([-–−]?)(\d[\d,]*(?:\.\d+)?)?(?:\s*(\d+)\/(\d+))?/.exec(text);
  const [, sign, whole, top, bottom] = found;
  if (whole === undefined && top === undefined) return text.toLowerCase();
  const divided = /^[-–−]?(\d+)\/(\d+)/.exec(text); // a fraction alone
  const size = divided ? divided[1] / divided[2]
    : Number(whole.replaceAll(",", "")) + (top === undefined ? 0 : top / bottom);
  return sign ? -size : size;
}

/** Numbers before words, each in their order. */
function inOrder(one, other) {
  if (typeof one !== typeof other) return typeof one === "number" ? -1 : 1;
  if (typeof one === "number") return one - other;
  return one.localeCompare(other);
}

document.querySelectorAll("table").forEach((table) => {
  const body = table.tBodies[0];
  if (!table.tHead || !body || body.rows.length < 2) return;
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "sorts" });
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const falls = head.getAttribute("aria-sort") === "ascending";
      [...table.tHead.rows[0].cells].forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", falls ? "descending" : "ascending");
      const rows = [...body.rows].map((row) => [sortKey(row.cells[column]), row]);
      rows.sort(([one], [other]) => (falls ? -1 : 1) * inOrder(one, other));
      body.append(...rows.map(([, row]) => row));
    });
  });
});
